"""The site's signing key is made once, and read by its user alone."""

from pathlib import Path

from farm.secret_key import kept_secret_key


def test_the_key_is_made_once_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "data" / "secret-key"

    assert kept_secret_key(path) == kept_secret_key(path)


def test_only_its_user_may_read_the_key(tmp_path: Path) -> None:
    path = tmp_path / "secret-key"

    assert len(kept_secret_key(path)) >= 50
    assert path.stat().st_mode & 0o777 == 0o600


def test_no_draft_of_the_key_is_left_behind(tmp_path: Path) -> None:
    kept_secret_key(tmp_path / "secret-key")

    assert [path.name for path in tmp_path.iterdir()] == ["secret-key"]
