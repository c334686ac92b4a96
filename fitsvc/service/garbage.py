"""How Python's collector of cyclic garbage is kept from holding requests up.

A whole collection looks at every object that there is, rulebook, libraries and kept findings, and nothing else runs
meanwhile: some 200 ms after a few hundred answers, and by the interpreter's own thresholds again each time as many
objects were added as a quarter of those. Nearly all that a request leaves goes without the collector.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

THRESHOLDS: Final = (10_000, 10, 100)
"""New objects before the youngest are looked at; collections of each generation before one of the next."""


@contextmanager
def collected_seldom() -> Iterator[None]:
    """Look at what is there already no more, and at all else a thousandth as often as at the youngest."""
    usual = gc.get_threshold()
    gc.collect()
    gc.freeze()
    gc.set_threshold(*THRESHOLDS)
    try:
        yield
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()
