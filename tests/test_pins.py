"""What is installed is pinned, and what comes from a registry is held to its hash."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
PIN = re.compile(r"(?P<name>[A-Za-z0-9._-]+)(?:\[[^]]*\])?==(?P<version>[^\s;\\]+)")


def pins(file: str) -> dict[str, str]:
    """Return the versions that a file pins, by the name as registries compare it."""
    found = re.finditer(rf"^{PIN.pattern}", (ROOT / ".ci" / file).read_text("utf-8"), re.MULTILINE)
    return {re.sub("[-_.]+", "-", one["name"]).lower(): one["version"] for one in found}


def test_every_pin_has_its_hashes() -> None:
    """The two lists name the same versions, and each of what is installed by hash has one; but for other systems."""
    held, locked = pins("constraints.txt"), pins("locked.txt")
    assert {name: locked.get(name) for name in held} == held
    text = (ROOT / ".ci" / "locked.txt").read_text("utf-8")
    blocks = re.split(r"\n(?=\S)", text.strip())
    assert len(blocks) == len(locked)
    assert all("--hash=sha256:" in block for block in blocks)
    assert all("sys_platform" in block for block in blocks if PIN.match(block) and _name(block) not in held)


def _name(block: str) -> str:
    found = PIN.match(block)
    assert found is not None
    return re.sub("[-_.]+", "-", found["name"]).lower()


def test_what_is_needed_is_pinned() -> None:
    """Each dependency that the project names is among the pins, so that a new one is not installed unseen."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    named = [*project["dependencies"], *(one for more in project["optional-dependencies"].values() for one in more)]
    names = {re.sub("[-_.]+", "-", re.split(r"[\[<>=; ]", one)[0]).lower() for one in named} - {"fitsvc"}
    assert names <= pins("locked.txt").keys()


def test_what_runs_has_an_upper_bound() -> None:
    """What a server is made of is installed as it was tried: not in a next version that nobody here has seen."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = (more for name, more in project["optional-dependencies"].items() if name != "test")
    named = [*project["dependencies"], *(one for more in extras for one in more)]
    assert [one for one in named if "<" not in one] == []
