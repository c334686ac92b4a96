"""Files of typed items, as a folder of an audit keeps them block by block, and digests of files and texts."""

import hashlib
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import numpy as np

from fitsvc.audits.items import Items
from fitsvc.audits.parts import Array
from fitsvc.engine.columns.signatures import Column, arrays_of
from fitsvc.files import write_text, written

_UNREAD: Final = "unread "
_NAMED: Final = "named "
"""These begin the names of arrays of what could not be read of a slot, and of what is told of it and open."""


def items_file(block: int | str) -> str:
    """The name of the file of a block's facts; a block of items that are no accessories goes by its subject."""
    return f"items-{_name(block)}.npz"


def skus_file(block: int | str) -> str:
    """The name of the file of a block's SKUs."""
    return f"skus-{_name(block)}.json"


def _name(block: int | str) -> str:
    return block if isinstance(block, str) else f"{block:05}"


def end_of(name: str, place: int) -> str:
    """The name of one of the arrays that a column is made of."""
    return f"{name}#{place}"


def write_items(folder: Path, block: int | str, items: Items, *, packed: bool = False) -> None:
    """Keep a block of items in a folder, `packed` where it stays there."""
    arrays: dict[str, Array] = {"lines": items.lines}
    for begins, every in ((_UNREAD, items.unread), (_NAMED, items.named)):
        arrays |= {begins + name: flags for name, flags in every.items()}
    for name, column in items.columns.items():
        arrays |= {end_of(name, place): array for place, array in enumerate(arrays_of(column))}
    save_arrays(folder / items_file(block), arrays, packed=packed)
    write_text(folder / skus_file(block), json.dumps(items.skus, ensure_ascii=False))


def save_arrays(path: Path, arrays: Mapping[str, Array], *, packed: bool) -> None:
    """Write arrays to a file, `packed` where it stays."""
    with written(path) as place, place.open("wb") as stream:
        if not packed:
            np.savez(stream, **arrays)  # type: ignore[arg-type]  # numpy allows for an array named as its own option
            return
        # As numpy packs them, but for how hard: most of what there is to gain is gained in a third of the time.
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packing:
            for name, array in arrays.items():
                with packing.open(f"{name}.npy", "w", force_zip64=True) as entry:
                    np.lib.format.write_array(entry, np.asanyarray(array), allow_pickle=False)


def items_in(folder: Path, block: int | str, *, skus_alone: bool = False) -> Items:
    """A block of items as it is kept in a folder; without their facts where the SKUs are wanted alone."""
    skus: list[str] = json.loads((folder / skus_file(block)).read_text("utf-8"))
    if skus_alone:
        return Items(skus, np.zeros(0, np.int64), {}, {}, {})
    with np.load(folder / items_file(block), allow_pickle=False) as read:
        arrays: dict[str, Array] = dict(read)
    columns = dict[str, Column]()
    unread, named = (
        {key.removeprefix(begins): arrays[key] for key in arrays if key.startswith(begins)}
        for begins in (_UNREAD, _NAMED)
    )
    for key in arrays:
        name, _, place = key.partition("#")
        if place == "0":
            high = end_of(name, 1)
            columns[name] = (arrays[key], arrays[high]) if high in arrays else arrays[key]
    return Items(skus, arrays["lines"], columns, unread, named)


def digest_of(path: Path | None) -> str:
    """The digest of a file's bytes; empty for no file."""
    if path is None:
        return ""
    with path.open("rb") as stream:
        return "sha256:" + hashlib.file_digest(stream, "sha256").hexdigest()


def digest_of_text(text: str) -> str:
    """The digest of a text."""
    return "sha256:" + hashlib.sha256(text.encode()).hexdigest()
