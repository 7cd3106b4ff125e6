"""What the documents say against the code: every command is named, every name is there."""

import re
from pathlib import Path

from tests.map import PACKAGES, head, modules

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


def test_every_module_says_in_its_head_what_it_is() -> None:
    silent = [
        str(module.relative_to(ROOT))
        for package in PACKAGES
        for module in modules(ROOT / package)
        if module.name != "__init__.py" and not head(module)
    ]

    assert silent == []


def test_every_module_that_the_developers_page_names_is_there() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    names = {module.name for package in PACKAGES for module in modules(ROOT / package)}
    said = {name.rpartition("/")[2] for name in re.findall(r"`([a-z_/<>]+\.py)`", page)}

    assert {name for name in said if "<" not in name} - names - {"manage.py", "urls.py"} == set()
