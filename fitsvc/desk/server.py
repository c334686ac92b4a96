"""The language server: what editors ask for by the protocol, answered from the desks of the folders that files are of.

It speaks on standard input and output. A folder is checked once nobody has typed for a moment; what else is asked for
is answered at once, whether or not what is typed can be read yet.
"""

import logging
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from lsprotocol import types as lsp
from pygls.uris import to_fs_path

from fitsvc.desk.folders import Desk
from fitsvc.desk.going import Mention, Stretch, declarations, references
from fitsvc.desk.hinting import hints
from fitsvc.desk.offering import Completion, offers
from fitsvc.desk.renaming import renamable, renamed
from fitsvc.desk.session import RuleServer, refused, uri_of
from fitsvc.desk.telling import told_of
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.formatting import formatted
from fitsvc.rulebook.yaml_spot import spot_at
from fitsvc.rulebook.yaml_text import FileText

_SAVED: Final = lsp.SaveOptions(include_text=False)
_KINDS: Final[Mapping[str, lsp.CompletionItemKind]] = {
    "fact": lsp.CompletionItemKind.Field,
    "derived": lsp.CompletionItemKind.Variable,
    "opening": lsp.CompletionItemKind.Variable,
    "role": lsp.CompletionItemKind.Property,
    "subject": lsp.CompletionItemKind.Module,
    "member": lsp.CompletionItemKind.EnumMember,
    "list": lsp.CompletionItemKind.Enum,
    "table": lsp.CompletionItemKind.Struct,
    "function": lsp.CompletionItemKind.Function,
    "key": lsp.CompletionItemKind.Property,
    "unit": lsp.CompletionItemKind.Unit,
    "word": lsp.CompletionItemKind.Keyword,
}


def _item(server: RuleServer, source: FileText, index: int, one: Completion) -> lsp.CompletionItem:
    return lsp.CompletionItem(
        label=one.label,
        kind=_KINDS.get(one.sort, lsp.CompletionItemKind.Value),
        detail=one.detail or None,
        text_edit=lsp.TextEdit(range=server.range(source, index - one.behind, index), new_text=one.text),
        filter_text=one.label,
    )


def make_server() -> RuleServer:
    """A server with all that it can be asked for."""
    # Whatever cannot be answered is told to the editor as an error; the library writes it to the terminal besides.
    logging.getLogger("pygls").setLevel(logging.CRITICAL)
    server = RuleServer()
    _follow(server)
    _answer(server)
    _rewrite(server)
    return server


def _follow(server: RuleServer) -> None:
    """What editors tell: which files they hold, and what is written in them."""

    @server.feature(lsp.TEXT_DOCUMENT_DID_OPEN)
    def opened(params: lsp.DidOpenTextDocumentParams) -> None:
        server.changed(params.text_document.uri)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CHANGE)
    def changed(params: lsp.DidChangeTextDocumentParams) -> None:
        server.changed(params.text_document.uri)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CLOSE)
    def closed(params: lsp.DidCloseTextDocumentParams) -> None:
        server.closed(params.text_document.uri)

    @server.feature(lsp.TEXT_DOCUMENT_DID_SAVE, _SAVED)
    def saved(params: lsp.DidSaveTextDocumentParams) -> None:
        desk, _ = server.desk(params.text_document.uri)
        if desk is not None:
            server.check(desk, examples=True)


def _answer(server: RuleServer) -> None:
    """What editors ask of a place."""

    @server.feature(
        lsp.TEXT_DOCUMENT_COMPLETION, lsp.CompletionOptions(trigger_characters=[".", "{", " "], resolve_provider=True)
    )
    def complete(params: lsp.CompletionParams) -> list[lsp.CompletionItem]:
        desk, path = server.desk(params.text_document.uri)
        if desk is None or path not in desk.open:
            return []
        text = desk.text(path)
        index = server.index(text, params.position)
        spot = spot_at(text, index)
        if spot is None:
            return []
        file, names = path.relative_to(desk.folder).as_posix(), desk.names(fresh=False)
        source = FileText.of("", text)
        items = [_item(server, source, index, one) for one in offers(file, spot, names)]
        for item in items:
            item.data = params.text_document.uri
        return items

    @server.feature(lsp.COMPLETION_ITEM_RESOLVE)
    def resolve(item: lsp.CompletionItem) -> lsp.CompletionItem:
        desk, _ = server.desk(str(item.data))
        told = told_of(item.label, desk.names(fresh=False)) if desk is not None else ""
        item.documentation = lsp.MarkupContent(kind=lsp.MarkupKind.Markdown, value=told) if told else None
        return item

    @server.feature(lsp.TEXT_DOCUMENT_HOVER)
    def hover(params: lsp.HoverParams) -> lsp.Hover | None:
        found = server.named(params.text_document.uri, params.position)
        if found is None:
            return None
        desk, named = found
        told = told_of(named.name, desk.names(), named.declared)
        content = lsp.MarkupContent(kind=lsp.MarkupKind.Markdown, value=told)
        return lsp.Hover(content, server.stretch(desk, named.place))

    @server.feature(lsp.TEXT_DOCUMENT_INLAY_HINT)
    def hint(params: lsp.InlayHintParams) -> list[lsp.InlayHint]:
        desk, path = server.desk(params.text_document.uri)
        if desk is None or path not in desk.open:
            return []
        text = desk.text(path)
        source = FileText.of("", text)
        first, last = server.index(text, params.range.start), server.index(text, params.range.end)
        return [
            lsp.InlayHint(server.range(source, one.index, one.index).start, one.text, padding_left=True)
            for one in hints(desk, path)
            if first <= one.index <= last
        ]

    @server.feature(lsp.TEXT_DOCUMENT_DEFINITION)
    def define(params: lsp.DefinitionParams) -> list[lsp.Location]:
        return _places(server, params, declarations)

    @server.feature(lsp.TEXT_DOCUMENT_REFERENCES)
    def refer(params: lsp.ReferenceParams) -> list[lsp.Location]:
        return _places(server, params, references)


def _places(
    server: RuleServer,
    params: lsp.DefinitionParams | lsp.ReferenceParams,
    find: Callable[[Desk, Mention], list[Stretch]],
) -> list[lsp.Location]:
    """The stretches that are found for a place, as an editor goes to them."""
    found = server.named(params.text_document.uri, params.position)
    if found is None:
        return []
    desk, named = found
    places = find(desk, named)
    sources = {path: FileText.of("", desk.text(path)) for path in {one.path for one in places}}
    return [lsp.Location(uri_of(one.path), server.range(sources[one.path], one.start, one.end)) for one in places]


def _rewrite(server: RuleServer) -> None:
    """What editors let be written."""

    @server.feature(lsp.TEXT_DOCUMENT_PREPARE_RENAME)
    def prepare(params: lsp.PrepareRenameParams) -> lsp.Range | None:
        found = server.named(params.text_document.uri, params.position)
        if found is None:
            return None
        try:
            renamable(*found)
        except ProblemsFound as wrong:
            raise refused(wrong) from None
        return server.stretch(found[0], found[1].place)

    @server.feature(lsp.TEXT_DOCUMENT_RENAME, lsp.RenameOptions(prepare_provider=True))
    def rename(params: lsp.RenameParams) -> lsp.WorkspaceEdit | None:
        found = server.named(params.text_document.uri, params.position)
        if found is None:
            return None
        desk, named = found
        try:
            edits = renamed(desk, named, params.new_name.strip())
        except ProblemsFound as wrong:
            raise refused(wrong) from None
        return lsp.WorkspaceEdit(
            changes={uri_of(path): list(server.edits(desk, path, of)) for path, of in edits.items()}
        )

    @server.feature(lsp.TEXT_DOCUMENT_FORMATTING)
    def lay_out(params: lsp.DocumentFormattingParams) -> list[lsp.TextEdit]:
        text = server.text(params.text_document.uri)
        try:
            laid = formatted(text, Path(to_fs_path(params.text_document.uri) or "").name)
        except ProblemsFound as wrong:
            raise refused(wrong) from None
        whole = server.range(FileText.of("", text), 0, len(text))
        return [lsp.TextEdit(whole, laid)] if laid != text else []
