"""Where the data folders that ship with fitsvc are found, and from where more of it is installed."""

import sys
from pathlib import Path
from typing import Final

RULES_VARIABLE: Final = "FITSVC_RULES"
"""The variable of the environment that names a folder of rules instead of fitsvc's own."""
_PACKAGE = Path(__file__).resolve().parent
_PLACES = (_PACKAGE / "_data", _PACKAGE.parent)


def data_dir(name: str) -> Path:
    """Return a data folder such as `rules`: the wheel's, else the checkout's; FileNotFoundError without one."""
    for place in _PLACES:
        if (place / name).is_dir():
            return place / name
    looked = " or ".join(f"`{place / name}`" for place in _PLACES)
    raise FileNotFoundError(f"the folder `{name}` is missing: expected it at {looked}; install fitsvc again")


def how_to_install(extra: str) -> str:
    """The command that adds an extra to the fitsvc that runs: from the checkout or file that it comes from, or by name.

    By its name alone pip would look for a checkout's in a registry, and perhaps find another one.
    """
    from shlex import quote

    is_checkout = (_PACKAGE.parent / "pyproject.toml").is_file()
    source = _PACKAGE.parent if is_checkout else _installed_from()
    return f"`{quote(sys.executable)} -m pip install {quote(f'{source or _PACKAGE.name}[{extra}]')}`"


def _installed_from() -> Path | None:
    """The folder or file on this machine that fitsvc was installed from (PEP 610); None where that is elsewhere."""
    import json
    from importlib.metadata import PackageNotFoundError, distribution
    from urllib.parse import urlsplit
    from urllib.request import url2pathname

    try:
        told = distribution(_PACKAGE.name).read_text("direct_url.json")
    except PackageNotFoundError:
        return None
    url = urlsplit(json.loads(told).get("url", "")) if told else None
    path = Path(url2pathname(url.path)) if url and url.scheme == "file" else None
    return path if path and path.exists() else None
