"""How the C library keeps memory that was used and is free: by itself a service holds twice what it has in use.

The GNU library gives each thread a heap of its own, of which each keeps what was free for its next use; columns of a
million items are computed by many threads in turn. Where another library is used nothing is done.
"""

import ctypes
from functools import cache
from typing import Any, Final

_ARENA_MAX: Final = -8
"""The option of `mallopt` for how many heaps there are at most (malloc.h)."""


def use_one_heap() -> None:
    """Let all threads of this process that come share one heap; few of them are ever at work at once."""
    if (library := _gnu()) is not None:
        library.mallopt(_ARENA_MAX, 1)


def give_back() -> None:
    """Give the system what is free, as after much was computed of which little is kept."""
    if (library := _gnu()) is not None:
        library.malloc_trim(0)


@cache
def _gnu() -> Any:
    """The GNU C library that this process runs on, or None."""
    try:
        library = ctypes.CDLL(None)
    except (OSError, TypeError):
        return None
    return library if hasattr(library, "malloc_trim") and hasattr(library, "mallopt") else None
