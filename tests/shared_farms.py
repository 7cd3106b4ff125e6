"""Which tests share a farm that is made once: those of a folder, or of a file."""

from functools import cache
from pathlib import Path


@cache
def shared_farm(root: Path, file: str) -> str:
    """Name the folder or the file whose tests share a farm; none for tests that do not."""
    folder = (root / file).parent
    for_all = folder / "conftest.py"
    if for_all.exists() and _has_fixture(for_all, "package"):
        return str(folder)
    return file if _has_fixture(root / file, "module") else ""


def _has_fixture(file: Path, scope: str) -> bool:
    return f'\n@pytest.fixture(scope="{scope}")' in file.read_text()
