"""A page of Markdown carried out: its files written, its commands run in order, what it shows compared.

A block of `sh` is run, in one shell for the page, in a folder of its own. A block right behind it, without a sentence
between them, is what it prints; `...` stands for any text. Any other block is a file: the last name in `backticks`
before it says which. A server that is started in the background is ended with the page.
"""

import doctest
import os
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from markdown_it import MarkdownIt
from markdown_it.token import Token

_SHELL: Final = "sh"
_BEGINS: Final = "set -euo pipefail\ntrap 'kill $(jobs -p) 2>/dev/null || true; wait' EXIT\n"


@dataclass(frozen=True, slots=True)
class Block:
    """One fenced block: its line on the page, its language, its text, and the file or the output that it is."""

    line: int
    language: str
    text: str
    file: str = ""
    printed_by: int = 0

    @property
    def is_run(self) -> bool:
        """Whether it holds commands."""
        return self.language == _SHELL


def blocks_of(page: Path) -> list[Block]:
    """The blocks of a page; each is run, or a file, or what was printed."""
    tokens = MarkdownIt("commonmark").parse(page.read_text("utf-8"))
    return [_block(page, tokens, number) for number, one in enumerate(tokens) if one.type == "fence"]


def _block(page: Path, tokens: list[Token], number: int) -> Block:
    token, line, before = tokens[number], _line(tokens[number]), tokens[number - 1]
    if token.info == _SHELL:
        return Block(line, _SHELL, token.content)
    if before.type == "fence" and before.info == _SHELL:
        return Block(line, token.info, token.content, printed_by=_line(before))
    told = next((one for one in reversed(tokens[:number]) if one.type == "inline"), None)
    names = [one.content for one in (told.children if told and told.children else ()) if one.type == "code_inline"]
    assert names, f"{page.name}:{line}: the block is neither run nor printed, and no `file` is named before it"
    return Block(line, token.info, token.content, file=names[-1])


def _line(token: Token) -> int:
    assert token.map
    return token.map[0] + 1


def carry_out(page: Path, folder: Path, swaps: Mapping[str, str], env: Mapping[str, str]) -> None:
    """Run a page in a folder, with words swapped such as ports; fails with what a block did and should have done."""
    told = folder / ".told"
    told.mkdir()
    blocks = blocks_of(page)
    script = _BEGINS + "".join(_lines(block, told, swaps) for block in blocks)
    with (told / "shell").open("w") as shell:
        done = subprocess.run(
            ["bash", "-c", script],
            cwd=folder,
            env={**os.environ, **env},
            stdin=subprocess.DEVNULL,
            stdout=shell,
            stderr=subprocess.STDOUT,
            check=False,
        )
    assert done.returncode == 0, f"{page.name}:{(told / 'line').read_text()}: {_said(told)}"
    wrong = [text for block in blocks if block.printed_by for text in _differences(page, block, told)]
    assert not wrong, "\n".join(wrong)


def _lines(block: Block, told: Path, swaps: Mapping[str, str]) -> str:
    """What the shell is given for a block; the braces let a variable last until the page's end."""
    if block.is_run:
        text = block.text
        for word, other in swaps.items():
            text = text.replace(word, other)
        return f"echo {block.line} > {told}/line\n{{\n{text}}} > {told}/{block.line} 2> {told}/errors\n"
    if block.file:
        source = told / f"file-{block.line}"
        source.write_text(block.text, "utf-8")
        return f"cp {source} {block.file}\n"
    return ""


def _said(told: Path) -> str:
    line = (told / "line").read_text().strip()
    return "".join((told / name).read_text("utf-8", "replace")[-2000:] for name in (line, "errors", "shell"))


def _differences(page: Path, block: Block, told: Path) -> Iterator[str]:
    printed = (told / str(block.printed_by)).read_text("utf-8")
    wanted = block.text.replace("...\n", "...")
    if not doctest.OutputChecker().check_output(wanted, printed, doctest.ELLIPSIS):
        yield f"{page.name}:{block.line} shows\n{block.text}\nbut was printed\n{printed[:4000]}"
