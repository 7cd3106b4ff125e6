"""What the documents say against the code: every command and every module is named."""

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


def test_every_module_is_in_the_map() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    said = page.split("## Map")[1].split("```")[1]
    mapped, folder = set(), ""
    for line in said.strip().splitlines():
        name = line.split()[0]
        folder = folder if line.startswith(" ") else name
        mapped.add(folder + name if line.startswith(" ") else folder)
    modules = {
        str(path.relative_to(ROOT))
        for package in ("ledger", "farm")
        for path in (ROOT / package).rglob("*.py")
        if path.name[0] != "_" and "migrations" not in path.parts
    }

    assert sorted(modules - mapped) == []
    assert sorted(name for name in mapped if name.endswith(".py") and name not in modules) == []
