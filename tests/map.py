"""Print the map of the tree: each module with the first line of its head.

``python -m tests.map`` prints all of it, ``python -m tests.map farm/queries`` one folder.
"""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("ledger", "farm", "tests")


def modules(place: Path) -> Iterator[Path]:
    """List the modules below a folder, each folder before those in it."""
    here = sorted(place.iterdir())
    yield from (each for each in here if each.suffix == ".py")
    for folder in (each for each in here if each.is_dir()):
        if folder.name not in ("migrations", "__pycache__", "static"):
            yield from modules(folder)


def head(module: Path) -> str:
    """Read the first line of a module's docstring; none where it says nothing."""
    told = ast.get_docstring(ast.parse(module.read_text())) or ""
    return told.partition("\n")[0]


def lines(place: Path) -> Iterator[str]:
    folder = None
    for module in modules(place):
        if module.parent != folder:
            folder = module.parent
            yield f"{folder.relative_to(ROOT)}/"
        if module.name != "__init__.py" or head(module):
            yield f"  {module.name:24} {head(module)}"


if __name__ == "__main__":
    for place in sys.argv[1:] or PACKAGES:
        print(*lines(ROOT / place), sep="\n")
