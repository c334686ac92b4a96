"""How hard the random tests try: `FITSVC_PROFILE` is `day`, or `nightly`, which makes many more cases and new ones.

By day the cases are the same each time, so that a failure comes of a change. Neither profile measures time: a
machine that is busy with something else must not fail a test.
"""

import os
from collections.abc import Iterator
from importlib import import_module
from pkgutil import walk_packages
from typing import Any, Final

from hypothesis import HealthCheck, settings

import fitsvc

PROFILE: Final = os.environ.get("FITSVC_PROFILE", "day")
NIGHTLY: Final = PROFILE == "nightly"
EFFORT: Final = 20 if NIGHTLY else 1
"""How many times the usual number of random trials to make."""
TIMED: Final = (HealthCheck.too_slow,)
"""What Hypothesis has against a test by the clock."""

_SAME: Final[dict[str, Any]] = {
    "deadline": None,
    "suppress_health_check": TIMED,
    "database": None,
    "print_blob": True,
}


def load_profile() -> None:
    """Let Hypothesis try as hard as the profile says; a profile that is neither is an error.

    It also tries the constants that it finds in whatever is imported of this tree, tests left out. So all is imported
    before the first case is made: what a test tries would else rest on which tests of its process ran before.
    """
    for name in modules():
        import_module(name)
    settings.register_profile("day", derandomize=True, **_SAME)
    settings.register_profile("nightly", max_examples=100 * EFFORT, **_SAME)
    settings.load_profile(PROFILE)


def modules() -> Iterator[str]:
    """The names of fitsvc's modules, but for the one that is the command itself."""
    found = (one.name for one in walk_packages(fitsvc.__path__, "fitsvc."))
    return (name for name in found if not name.endswith(".__main__"))


def tries(examples: int, **more: Any) -> settings:
    """Return the profile's settings for a test that makes so many cases by day."""
    return settings(max_examples=examples * EFFORT, **more)
