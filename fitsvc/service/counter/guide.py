"""The guide's pages: the Markdown that ships with fitsvc, in the look of the counter."""

import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from pathlib import PurePosixPath
from typing import Any, Final, NamedTuple

from litestar import Response, get
from litestar.params import FromPath
from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markupsafe import Markup, escape

from fitsvc.paths import data_dir
from fitsvc.service.context import AnyRequest
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.tongues import t

_FIRST: Final = "index"
_REFERENCE: Final = "reference"
"""The page of the rule author's reference, which stands beside the rules."""


class Page(NamedTuple):
    """One page: its title, and its body as HTML."""

    title: str
    body: Markup


@get("/guide", sync_to_thread=True)
def guide(request: AnyRequest) -> Response[str]:
    """Give the guide's first page."""
    return _page(request, _FIRST)


@get("/guide/{name:str}", sync_to_thread=True)
def guide_page(request: AnyRequest, name: FromPath[str]) -> Response[str]:
    """Give one of its pages, or a picture on one."""
    if name in pictures():
        return Response(pictures()[name], media_type="image/svg+xml")
    if name == _FIRST or name not in pages():
        return not_there(request, t("The guide has no page of that name. Its first page lists all."))
    return _page(request, name)


def _page(request: AnyRequest, name: str) -> Response[str]:
    return page(request, "guide.html", guide=pages()[name])


@cache
def pages() -> Mapping[str, Page]:
    """The pages by name, each as its address and its file call it."""
    folder = files("fitsvc").joinpath("guide")
    texts = {one.name.removesuffix(".md"): one.read_text("utf-8") for one in folder.iterdir() if ".md" in one.name}
    texts[_REFERENCE] = data_dir("rules").joinpath("README.md").read_text("utf-8")
    return {name: show(text) for name, text in texts.items()}


@cache
def pictures() -> Mapping[str, str]:
    """The pictures on the pages by the names of their files."""
    folder = files("fitsvc").joinpath("guide")
    return {one.name: one.read_text("utf-8") for one in folder.iterdir() if one.name.endswith(".svg")}


def show(text: str) -> Page:
    """Turn Markdown into a page; markup within it is shown as text, and never obeyed."""
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    parser.add_render_rule("table_open", _table_open)
    parser.add_render_rule("table_close", lambda *_: "</table></div>\n")
    parser.add_render_rule("image", _image)
    tokens = parser.parse(text)
    for number, token in enumerate(tokens):
        _alter(token, tokens[number + 1 :])
    title = next(tokens[n + 1].content for n, one in enumerate(tokens) if one.type == "heading_open")
    return Page(title, Markup(parser.renderer.render(tokens, parser.options, {})))


def _alter(token: Token, following: Sequence[Token]) -> None:
    """Make of the author's links addresses of pages, of headings places to link to, and of styles classes."""
    for inner in token.children or ():
        if inner.type == "link_open":
            inner.attrSet("href", address(str(inner.attrGet("href"))))
    if token.type == "heading_open":
        token.attrSet("id", re.sub(r"[^\w]+", "-", following[0].content.casefold()).strip("-"))
    if token.attrs.pop("style", None) == "text-align:right":
        token.attrSet("class", "number")


def address(link: str) -> str:
    """The address of what a page's link leads to: another page, or a file that only a checkout has."""
    path, mark, place = link.partition("#")
    name = PurePosixPath(path)
    if "://" in path or name.suffix != ".md":
        return link
    if name.name == "README.md":
        return f"/guide/{_REFERENCE}{mark}{place}"
    return f"/guide{'' if name.stem == _FIRST else f'/{name.stem}'}{mark}{place}"


def _table_open(_: RendererHTML, tokens: Sequence[Token], index: int, options: Any, env: Any) -> str:
    """A table may be wider than a phone, and is then moved by itself; a screen reader tells it from others."""
    env["tables"] = env.get("tables", 0) + 1
    return f'<div class="scroll" tabindex="0" role="region" aria-label="Table {env["tables"]}"><table>\n'


def _image(own: RendererHTML, tokens: Sequence[Token], index: int, options: Any, env: Any) -> str:
    """A picture is as large as its words need, moved by itself where that is wider than the page, and opens alone."""
    path = escape(str(tokens[index].attrGet("src")))
    return f'<a class="chart" href="{path}">{own.image(tokens, index, options, env)}</a>'
