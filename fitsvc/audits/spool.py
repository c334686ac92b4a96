"""Where an audit keeps what it has done, so that it may be ended at any moment and taken up again.

Every file is written beside its place and then moved there, so that what has its name is whole. What an audit
is of stands in `run.json`; a folder is only taken up again by the audit that began it.
"""

import hashlib
import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.files import write_text, written
from fitsvc.language.problems import Problem, ProblemsFound

SUMMARY: Final = "summary.json"
_SPOOL: Final = ".spool"
_RUN: Final = "run.json"


class Spool:
    """The folder of one audit."""

    def __init__(self, out: Path, run: Mapping[str, Any]) -> None:
        self.out, self.run = out, dict(run)
        self.folder = out / _SPOOL
        self.finished = self._open()

    def _open(self) -> bool:
        """Make the folder, or find it to be this audit's; whether the audit is done already."""
        if self.out.exists() and not self.out.is_dir():
            raise ProblemsFound([Problem("is a file", "name a folder for the results", file=str(self.out))])
        summary, begun = self.out / SUMMARY, self.folder / _RUN
        if summary.is_file():
            self._same(_read_json(summary).get("run"), "holds the results of another audit")
            shutil.rmtree(self.folder, ignore_errors=True)
            return True
        if begun.is_file():
            self._same(_read_json(begun), "holds another audit that was not ended")
            return False
        if self.out.exists() and any(self.out.iterdir()) and not self.folder.is_dir():
            raise ProblemsFound([Problem("is not empty", "name a new folder for the results", file=str(self.out))])
        self.folder.mkdir(parents=True, exist_ok=True)
        self.write(_RUN, self.run)
        return False

    def _same(self, found: Any, message: str) -> None:
        if found == self.run:
            return
        differ = [name for name in self.run if not isinstance(found, dict) or found.get(name) != self.run[name]]
        help = f"its {', '.join(differ)} differ{'s' if len(differ) == 1 else ''}; name a new folder, or remove this one"
        raise ProblemsFound([Problem(message, help, file=str(self.out))])

    def has(self, name: str) -> bool:
        """Whether a part is there, whole."""
        return (self.folder / name).is_file()

    def write(self, name: str, document: Any) -> None:
        """Keep a JSON document."""
        write_text(self.folder / name, json.dumps(document, ensure_ascii=False, sort_keys=True))

    def read(self, name: str) -> Any:
        """A kept JSON document."""
        return _read_json(self.folder / name)

    def write_arrays(self, name: str, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep arrays under their names."""
        with written(self.folder / name) as place, place.open("wb") as stream:
            np.savez(stream, **arrays)  # type: ignore[arg-type]

    def read_arrays(self, name: str) -> Any:
        """Kept arrays; each is read from the disk when it is asked for."""
        return np.load(self.folder / name, allow_pickle=False)

    def close(self) -> None:
        """Let go of all but the results."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _read_json(path: Path) -> Any:
    try:
        return json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        help = "remove the folder and begin anew"
        raise ProblemsFound([Problem(f"cannot be read: {error}", help, file=str(path))]) from None


def begun(out: Path) -> Any:
    """What the audit that was begun in a folder is of; None where there is none that was not ended."""
    path = out / _SPOOL / _RUN
    return _read_json(path) if path.is_file() else None


def digest_of(path: Path | None) -> str:
    """The digest of a file's bytes; empty for no file."""
    if path is None:
        return ""
    with path.open("rb") as stream:
        return "sha256:" + hashlib.file_digest(stream, "sha256").hexdigest()


def digest_of_text(text: str) -> str:
    """The digest of a text."""
    return "sha256:" + hashlib.sha256(text.encode()).hexdigest()
