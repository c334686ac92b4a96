"""Waiting for what comes about in its own time, on a machine that may be busy with much else."""

import time
from collections.abc import Callable
from typing import Final, TypeVar

import pytest

LONGEST: Final = 300.0
"""Seconds after which a wait is taken for a hang: a hundred times what the slowest takes on an idle machine."""
_T = TypeVar("_T")


def until(ready: Callable[[], _T | None], what: str = "") -> _T:
    """Wait for a condition, and return what it gave; say what is waited for if it never comes."""
    end = time.monotonic() + LONGEST
    while not (found := ready()):
        if time.monotonic() > end:
            pytest.fail(f"waited in vain for {what or 'a condition'}")
        time.sleep(0.002)
    return found
