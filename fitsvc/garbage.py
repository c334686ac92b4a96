"""How Python's collector of cyclic garbage is kept from going through all that is there while work is done.

A whole collection looks at every object that there is, rulebook, libraries and kept findings, and nothing else runs
meanwhile: some 200 ms after a few hundred answers, and by the interpreter's own thresholds again each time as many
objects were added as a quarter of those. Nearly all that is done here goes without the collector.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Final

_ASIDE: Final = Lock()
"""Held by the one who has set aside what was there; nobody could take back a part of it alone."""


@contextmanager
def collected_seldom(first: int, *later: int) -> Iterator[None]:
    """Look at what is there already no more, and seldom at what comes.

    `first` is how many new objects there are before the youngest are looked at; `later`, where given, how many
    collections of each generation before one of the next. Within another, what it has set aside stays so.
    """
    usual, mine = gc.get_threshold(), _ASIDE.acquire(blocking=False)
    if mine:
        gc.collect()
        gc.freeze()
    gc.set_threshold(first, *(later or usual[1:]))
    try:
        yield
    finally:
        gc.set_threshold(*usual)
        if mine:
            gc.unfreeze()
            _ASIDE.release()
