"""What record files may hold, and where in the store each goes."""

from typing import Final, get_args

from fitsvc.store.tables import SoldAs, Subject

SOLD: Final[tuple[str, ...]] = get_args(SoldAs)
"""What is sold under a SKU; all of it shares one table."""

KEYS: Final[tuple[str, ...]] = ("vehicle", "receiver", "mounting", *SOLD)
"""The subjects of a record file."""


def key_of(subject: str) -> str:
    """The key a subject's records are named by."""
    return "sku" if subject in SOLD else "id"


def table_for(subject: str) -> Subject:
    """The store's subject under which a record is kept."""
    return "accessory" if subject in SOLD else subject  # type: ignore[return-value]
