"""The session of one editor: the files it holds, the desks of their folders, the faults of those, and its places."""

import asyncio
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final
from urllib.parse import unquote

from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcException
from pygls.lsp.server import LanguageServer
from pygls.uris import from_fs_path, to_fs_path

from fitsvc import __version__
from fitsvc.desk.folders import Desk, folder_of, plain_lines
from fitsvc.desk.going import Mention, Stretch, named_at
from fitsvc.desk.renaming import Edit
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.yaml_text import FileText, read_yaml

PAUSE: Final = 0.3
"""Seconds without a change after which a folder is checked: longer than between two letters of who types."""


class RuleServer(LanguageServer):
    """The server of one editor: a desk for each folder of rules that it holds a file of, and for as long."""

    def __init__(self) -> None:
        super().__init__("fitsvc", __version__, text_document_sync_kind=lsp.TextDocumentSyncKind.Full)
        self._desks: dict[Path, Desk] = {}
        self._waiting: dict[Path, asyncio.TimerHandle] = {}
        self._told: dict[Path, set[Path]] = {}

    def desk(self, uri: str) -> tuple[Desk | None, Path]:
        """The desk of a file's folder; None where the file is of no folder of rules."""
        path = Path(to_fs_path(uri) or uri)
        folder = folder_of(path)
        if folder is None:
            return None, path
        return self._desks.get(folder) or Desk(folder), path

    def text(self, uri: str) -> str:
        """The text of a file that an editor holds, with plain ends of lines; empty where it holds none."""
        held = self.workspace.text_documents.get(unquote(uri))  # as the library keeps them
        return plain_lines(held.source) if held is not None else ""

    # places: an editor counts in units of its encoding, within lines

    def index(self, text: str, position: lsp.Position) -> int:
        """The index in a text of an editor's position."""
        lines = FileText.of("", text).lines
        if position.line >= len(lines):
            return len(text)
        start = lines[position.line]
        end = lines[position.line + 1] - 1 if position.line + 1 < len(lines) else len(text)
        codec, units = self.workspace.position_codec, 0
        for index in range(start, end):
            if units >= position.character:
                return index
            units += codec.client_num_units(text[index])
        return end

    def range(self, source: FileText, start: int, end: int) -> lsp.Range:
        """The range of an editor between two indexes of a text."""
        return lsp.Range(start=self._position(source, start), end=self._position(source, end))

    def _position(self, source: FileText, index: int) -> lsp.Position:
        line, column = source.place(index)
        before = source.text[index - column + 1 : index]
        return lsp.Position(line=line - 1, character=self.workspace.position_codec.client_num_units(before))

    def stretch(self, desk: Desk, place: Stretch) -> lsp.Range:
        """A stretch of a file as an editor shows it."""
        return self.range(FileText.of("", desk.text(place.path)), place.start, place.end)

    def edits(self, desk: Desk, path: Path, edits: Iterable[Edit]) -> Iterator[lsp.TextEdit]:
        """Edits of a file as an editor makes them."""
        source = FileText.of("", desk.text(path))
        for one in edits:
            yield lsp.TextEdit(range=self.range(source, one.start, one.end), new_text=one.text)

    # faults

    def changed(self, uri: str) -> None:
        """Take a file's text from the editor, and check its folder when nobody types."""
        desk, path = self.desk(uri)
        if desk is None:
            self._publish(path, self.text(uri), _alone(path, self.text(uri)))
            return
        self._desks[desk.folder] = desk
        desk.open[path] = self.text(uri)
        self._stop_waiting(desk)
        self._waiting[desk.folder] = asyncio.get_running_loop().call_later(PAUSE, self.check, desk)

    def closed(self, uri: str) -> None:
        """Go by what is on disk again."""
        desk, path = self.desk(uri)
        if desk is None:
            self._publish(path, "", [])
            return
        desk.open.pop(path, None)
        if desk.open:
            self.check(desk)
            return
        self._stop_waiting(desk)
        self._desks.pop(desk.folder, None)
        for told in {path, *self._told.pop(desk.folder, ())}:
            self._publish(told, "", [])

    def check(self, desk: Desk, *, examples: bool = False) -> None:
        """Check a folder, and tell the editor of each file what is wrong with it, or no longer."""
        self._stop_waiting(desk)
        told = self._told.setdefault(desk.folder, set())
        for path, problems in desk.check(examples=examples).items():
            if problems or path in told or path in desk.open:
                self._publish(path, desk.text(path), problems)
                (told.add if problems else told.discard)(path)

    def _stop_waiting(self, desk: Desk) -> None:
        waiting = self._waiting.pop(desk.folder, None)
        if waiting is not None:
            waiting.cancel()

    def _publish(self, path: Path, text: str, problems: list[Problem]) -> None:
        source = FileText.of("", text)
        found = [self._diagnostic(source, one) for one in problems]
        uri = uri_of(path)
        held = self.workspace.text_documents.get(unquote(uri))
        told = lsp.PublishDiagnosticsParams(uri=uri, diagnostics=found, version=held.version if held else None)
        self.text_document_publish_diagnostics(told)

    def _diagnostic(self, source: FileText, problem: Problem) -> lsp.Diagnostic:
        """A problem at its word; one of a whole file at its first line."""
        line = min(max(problem.line, 1), len(source.lines))
        start = min(source.lines[line - 1] + max(problem.column - 1, 0), len(source.text))
        end = start
        while end < len(source.text) and (source.text[end].isalnum() or source.text[end] in "._-"):
            end += 1
        end = min(max(end, start + 1), len(source.text))
        told = problem.message + (f"\n{problem.help}" if problem.help else "")
        return lsp.Diagnostic(
            range=self.range(source, start, end), message=told, severity=lsp.DiagnosticSeverity.Error, source="fitsvc"
        )

    def named(self, uri: str, position: lsp.Position) -> tuple[Desk, Mention] | None:
        """What a place names, of the desk of its folder."""
        desk, path = self.desk(uri)
        if desk is None or path not in desk.open:
            return None
        found = named_at(desk, path, self.index(desk.text(path), position))
        return (desk, found) if found is not None else None


def _alone(path: Path, text: str) -> list[Problem]:
    """What is wrong with a file of no folder of rules: whether it can be read is all that is known."""
    try:
        read_yaml(text, path.name)
    except ProblemsFound as found:
        return list(found.problems)
    return []


def uri_of(path: Path) -> str:
    """A file as the protocol names it."""
    return from_fs_path(str(path)) or path.as_uri()


def refused(found: ProblemsFound) -> JsonRpcException:
    """What cannot be done, as the protocol says it: the editor shows why."""
    told = "; ".join(f"{one.message} ({one.help})" if one.help else one.message for one in found.problems[:3])
    return JsonRpcException(told, code=lsp.LSPErrorCodes.RequestFailed.value)
