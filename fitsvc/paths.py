"""Where the data folders that ship with fitsvc are found."""

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
