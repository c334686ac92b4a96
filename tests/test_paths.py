"""From where more of fitsvc is installed: the checkout or file that it came from, and else by its name."""

import json
import sys
from importlib import metadata
from pathlib import Path
from shlex import quote
from typing import Any

import pytest

from fitsvc import paths


def test_a_checkout_is_told_by_its_folder() -> None:
    """As it runs here."""
    told = paths.how_to_install("prove")
    assert told == f"`{quote(sys.executable)} -m pip install {quote(str(Path(__file__).parent.parent) + '[prove]')}`"


@pytest.mark.parametrize("elsewhere", [False, True])
def test_an_installed_package_is_told_by_where_it_came_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, elsewhere: bool
) -> None:
    """By `direct_url.json`, which pip writes (PEP 610), while what it names is there; else by its name alone."""
    checkout = tmp_path / "a checkout"
    checkout.mkdir()

    class Installed:
        def read_text(self, name: str) -> str | None:
            assert name == "direct_url.json"
            return None if elsewhere else json.dumps({"url": checkout.as_uri(), "dir_info": {}})

    def distribution(name: str) -> Any:
        assert name == "fitsvc"
        return Installed()

    monkeypatch.setattr(paths, "_PACKAGE", tmp_path / "site-packages" / "fitsvc")
    monkeypatch.setattr(metadata, "distribution", distribution)
    said = paths.how_to_install("prove")
    assert said.endswith("-m pip install 'fitsvc[prove]'`" if elsewhere else f"-m pip install '{checkout}[prove]'`")
    checkout.rmdir()
    assert paths.how_to_install("prove").endswith("'fitsvc[prove]'`")


def test_what_was_never_installed_is_told_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Copied somewhere, without pip."""

    def distribution(name: str) -> Any:
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(paths, "_PACKAGE", tmp_path / "fitsvc")
    monkeypatch.setattr(metadata, "distribution", distribution)
    assert paths.how_to_install("sign").endswith("-m pip install 'fitsvc[sign]'`")
