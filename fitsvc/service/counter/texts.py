"""Every text of a page in the reader's language: what stands between the tags of a template is said by `t()`.

So no template can forget it, and a text is written where it is shown. Of attributes those are texts that people hear or
read; what stands in `code`, `pre`, `script` and `style` is none.
"""

import re
from collections.abc import Iterable, Iterator
from html import unescape
from typing import Final, cast

from jinja2 import Environment, nodes
from jinja2.ext import Extension
from jinja2.lexer import Token, TokenStream
from jinja2.parser import Parser
from markupsafe import Markup, escape

from fitsvc.tongues import t

_TOLD: Final = ("aria-label", "placeholder", "title", "alt")
_PIECE: Final = re.compile(r"(<[^<>]*>?|[^<>]*>|[^<>]+)")
_ATTRIBUTE: Final = re.compile(rf"(?<=\s)({'|'.join(_TOLD)}|data-told-[a-z]+)=\"([^\"{{]*)")
_SILENT: Final = ("code", "pre", "script", "style")
_CALLED: Final = "template_text"
"""By this name templates call `said`: one that no page has for a value of its own."""
_LETTERS: Final = re.compile(r"[A-Za-z]{2}")
_TRIMMED: Final = re.compile(r"(\s*)(.*?)(\s*)", re.DOTALL)
_TAG: Final = re.compile(r"<(/?)([a-z]+)")


def said(text: str) -> Markup:
    """A text of a template, as it is written there, in the language that is spoken."""
    return escape(t(unescape(text)))


class Texts(Extension):
    """Hands the texts of templates to `said`."""

    def __init__(self, environment: Environment) -> None:
        super().__init__(environment)
        environment.globals[_CALLED] = said

    def filter_stream(self, stream: TokenStream) -> Iterable[Token]:
        """The tokens of a template with each text called for."""
        pieces = Pieces()
        for token in stream:
            if token.type != "data":
                yield token
                continue
            for is_text, part in pieces.of(token.value):
                yield from _asked(token.lineno, part) if is_text else (Token(token.lineno, "data", part),)

    def parse(self, parser: Parser) -> list[nodes.Node]:
        """No tag of its own: NotImplementedError."""
        raise NotImplementedError


class Pieces:
    """A template's HTML parted into texts and what is none, piece by piece: one may begin and end within a tag."""

    def __init__(self) -> None:
        self._tag, self._silent = False, ""

    def of(self, data: str) -> Iterator[tuple[bool, str]]:
        """The parts of the next piece, with whether each is a text."""
        for part in _PIECE.findall(data):
            if part.startswith("<") or self._tag:
                yield from _attributes(part)
                self._follow(part)
            elif self._silent or not _LETTERS.search(part):
                yield False, part
            else:
                before, text, after = _trimmed(part)
                yield from ((False, before), (True, " ".join(text.split())), (False, after))

    def _follow(self, part: str) -> None:
        found = _TAG.match(part)
        if found and found[2] in _SILENT:
            self._silent = "" if found[1] else found[2]
        self._tag = not part.endswith(">")


def _attributes(part: str) -> Iterator[tuple[bool, str]]:
    end = 0
    for found in _ATTRIBUTE.finditer(part):
        if _LETTERS.search(found[2]):
            before, text, _ = _trimmed(found[2])
            yield False, part[end : found.start(2)] + before
            yield True, text
            end = found.start(2) + len(before) + len(text)
    yield False, part[end:]


def _trimmed(text: str) -> tuple[str, str, str]:
    """A text without the space round it, between that space."""
    before, inner, after = cast("re.Match[str]", _TRIMMED.fullmatch(text)).groups()
    return before, inner, after


def _asked(line: int, text: str) -> Iterator[Token]:
    yield Token(line, "variable_begin", "{{")
    yield Token(line, "name", _CALLED)
    yield Token(line, "lparen", "(")
    yield Token(line, "string", text)
    yield Token(line, "rparen", ")")
    yield Token(line, "variable_end", "}}")


def texts_in(environment: Environment, source: str) -> list[str]:
    """The texts of a template."""
    pieces, found = Pieces(), list[str]()
    for _, kind, value in environment.lex(source):
        found += [unescape(part) for is_text, part in pieces.of(value) if is_text] if kind == "data" else []
    return found
