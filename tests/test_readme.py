"""The README against the code: every command it names is there, and every command is named."""

from pathlib import Path

ROOT = Path(__file__).parent.parent
COMMANDS = {
    path.stem for path in (ROOT / "farm/management/commands").glob("*.py") if path.stem[0] != "_"
}


def test_every_command_is_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text()

    assert [name for name in sorted(COMMANDS) if name not in readme] == []


def test_the_readme_begins_with_the_job() -> None:
    first = (ROOT / "README.md").read_text().split("\n\n")[1]

    for use in ("costing a block", "tracing a sold lot", "sales and harvest"):
        assert use in first
