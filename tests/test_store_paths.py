"""Where the data folders are found."""

from pathlib import Path

import pytest

from fitsvc import paths


def test_the_migrations_are_found() -> None:
    """The folder found is the one with the migrations in it."""
    assert (paths.data_dir("migrations") / "env.py").is_file()


def test_the_wheel_comes_before_the_checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installed package uses its own data, also where a folder of that name lies beside it."""
    wheel, checkout = tmp_path / "fitsvc" / "_data", tmp_path
    (checkout / "rules").mkdir()
    monkeypatch.setattr(paths, "_PLACES", (wheel, checkout))
    assert paths.data_dir("rules") == checkout / "rules"
    (wheel / "rules").mkdir(parents=True)
    assert paths.data_dir("rules") == wheel / "rules"


def test_a_missing_folder_is_named_with_the_places_looked_at() -> None:
    """The error says what is missing and where it was expected."""
    with pytest.raises(FileNotFoundError, match=r"the folder `nothing` is missing: expected it at .*_data.* or "):
        paths.data_dir("nothing")
