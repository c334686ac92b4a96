"""Answers as a version gave them, with the rules that it gave them by, which every later version gives again.

One packed file a version, `VERSION.jsonl.xz`: first the rules, then a line an answer as the service records it. That
of a version that is released is never written anew: `python -m golden` writes that of the present one.
"""

import lzma
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import msgspec
from demo_world import answerer

from fitsvc import __version__
from fitsvc.engine.examples import wire_value
from fitsvc.rulebook.yaml_text import to_plain
from fitsvc.service.recording import RecordedAnswer

FOLDER: Final = Path(__file__).parent
NOW: Final = FOLDER / f"{__version__}.jsonl.xz"
COUNT: Final = 240
"""Answers of a file: every rule's topic is among them, and they are given again in some seconds."""
RIG: Final = ("vehicle", "receiver", "mounting", "spare")


class RulesKept(msgspec.Struct, frozen=True):
    """The first line: the rules by their digest, and the text of each of their files."""

    rulebook: str
    texts: dict[str, str]


def write(path: Path, rules: RulesKept, answers: Sequence[RecordedAnswer]) -> None:
    """Write a version's file; the same answers give the same bytes."""
    lines = [msgspec.json.encode(one) for one in (rules, *answers)]
    path.write_bytes(lzma.compress(b"\n".join(lines) + b"\n", preset=9))


def read(path: Path) -> tuple[RulesKept, list[RecordedAnswer]]:
    """Read a version's file."""
    first, *lines = lzma.decompress(path.read_bytes()).splitlines()
    return msgspec.json.decode(first, type=RulesKept), [msgspec.json.decode(one, type=RecordedAnswer) for one in lines]


def of_examples() -> list[dict[str, Any]]:
    """The examples of all shipped rules as questions: what is about several things, or about nothing, is left out."""
    found: list[dict[str, Any]] = []
    for examples in answerer().rulebook.examples.values():
        for example in examples:
            parts: dict[str, Any] = {}
            for name, node in example.facts.items():
                subject, _, short = name.partition(".")
                parts.setdefault(subject, {"facts": {}})["facts"][short] = wire_value(to_plain(node))
            stack = [{"facts": {short: wire_value(to_plain(one)) for short, one in adapter.items()}}
                     for adapter in example.adapters]  # fmt: skip
            rig = {name: parts.pop(name) for name in RIG if name in parts} | ({"adapters": stack} if stack else {})
            if "beside" not in parts and (parts.keys() | rig.keys()) & {"accessory", "trailer", "spare", "adapters"}:
                found.append({"rig": rig, **parts})
    return found
