"""The question a command is asked: a file, standard input, or stored records named by options."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from fitsvc.catalogue.json_text import read_json
from fitsvc.cli.console import refuse

LARGEST: Final = 1_000_000


def read_question_file(path: Path) -> Any:
    """The document in a file of JSON, `-` for standard input."""
    name = "standard input" if str(path) == "-" else str(path)
    try:
        if str(path) == "-":
            data = sys.stdin.buffer.read(LARGEST + 1)
        else:
            with path.open("rb") as stream:
                data = stream.read(LARGEST + 1)
    except OSError as error:
        refuse(f"{name} cannot be read: {(error.strerror or 'unknown reason').lower()}", "check the path")
    if len(data) > LARGEST:
        refuse(f"{name} is larger than {LARGEST:,} bytes", "ask one question a file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        refuse(f"{name} line {line}: byte 0x{data[error.start]:02x} is not UTF-8 text", "save the file as UTF-8")
    return read_json(text, name)


def question_about(rig: str, sold: Mapping[str, str | None]) -> dict[str, Any]:
    """A question about a saved rig and things that are sold, by their SKUs."""
    return {"rig": {"id": rig}, **{subject: {"sku": sku} for subject, sku in sold.items() if sku is not None}}
