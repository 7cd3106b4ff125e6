"""Write the chain of entries as a folder that anybody can check without this program."""

import json
import shutil
from pathlib import Path

from django.db import transaction

from farm.exchange import check_chain
from farm.tables.writing import make_empty
from ledger import sealing
from ledger.drafts import canonical

COLUMNS = "columns.json"


@transaction.atomic
def write_proof(folder: Path) -> None:
    """Write exactly what the seals cover, one entry a line, and beside it the checker.

    People stand in it by number alone. Raises FolderError where the folder is not empty.
    """
    make_empty(folder)
    with (folder / check_chain.FACTS).open("w", encoding="utf-8", newline="\n") as file:
        for _, digest, facts in sealing.sealed_facts():
            file.write(canonical({"digest": digest, "facts": facts}) + "\n")
    (folder / COLUMNS).write_text(json.dumps(sealing.COLUMNS, indent=1) + "\n", encoding="utf-8")
    shutil.copyfile(check_chain.__file__, folder / "check_chain.py")
