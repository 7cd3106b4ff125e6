"""The site's signing key: made once, kept outside version control."""

import os
import secrets
from pathlib import Path


def kept_secret_key(path: Path) -> str:
    """Return the key kept at `path`, making it on the first call.

    The key is written in full beside its place and then linked into it, so that
    two processes that start together end up with the same key.
    """
    if not path.exists():
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        draft.touch(mode=0o600)
        draft.write_text(secrets.token_urlsafe(50))
        try:
            path.hardlink_to(draft)
        except FileExistsError:
            pass  # another process was first: its key counts
        finally:
            draft.unlink()
    return path.read_text()
