"""Files with words in other languages, as they are written: their sections, and which words can be told for a text."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.rulebook.folder import shown_as, tongue_files
from fitsvc.rulebook.yaml_text import Mapping as Entries
from fitsvc.rulebook.yaml_text import Node, Scalar, read_yaml_bytes, read_yaml_file
from fitsvc.tongues import ARTICLE

SECTIONS: Final = ("texts", "labels", "joins", "articles")
HOLE: Final = re.compile(r"\{([^{}]*)\}")
_ALONE: Final = re.compile(r"[{}]")
_NONE: Final[Mapping[Path, bytes | Node]] = {}


def read_words_files(folder: Path, contents: Mapping[Path, bytes | Node] = _NONE) -> dict[str, Entries]:
    """The words of a folder in other languages, file by file by their names; ProblemsFound has all that are none.

    `contents` are the bytes of files that have been read already, or their trees.
    """
    found, problems = dict[str, Entries](), list[Problem]()
    for name, path in tongue_files(folder).items():
        try:
            found[name] = read_words_file(path, contents.get(path))
        except ProblemsFound as wrong:
            problems += wrong.problems
    if problems:
        raise ProblemsFound(problems)
    return found


def read_words_file(path: Path, content: bytes | Node | None = None) -> Entries:
    """The tree of a file with words in another language, or of what it held; ProblemsFound where it is none."""
    file = shown_as(path)
    tree = read_yaml_bytes(content, file) if isinstance(content, bytes) else content or read_yaml_file(path, file)
    listed = ", ".join(f"`{one}`" for one in SECTIONS)
    if not isinstance(tree, Entries):
        raise ProblemsFound([tree.problem("a file of words is written as `key: value` lines", f"it has {listed}")])
    problems = []
    for section, node in tree.entries.items():
        if section not in SECTIONS:
            near = nearest(section, SECTIONS)
            help = f"did you mean `{near}`?" if near else f"a file of words has {listed}"
            problems.append(tree.problem_at_key(section, f"`{section}` has no place here", help))
        elif isinstance(node, Entries):
            help = "write its words on one line, in quotes"
            entries = (one for one in node.entries.values() if not isinstance(one, Scalar))
            problems += [one.problem("words for a text are a text", help) for one in entries]
        elif not isinstance(node, Scalar) or not node.is_null:
            problems.append(node.problem(f"`{section}` is written as `text: words` lines", "indent them under it"))
    if problems:
        raise ProblemsFound(problems)
    return tree


def words_in(tree: Entries, section: str) -> Mapping[str, Scalar]:
    """The words of a section by what they are for."""
    node = tree.entries.get(section)
    found = node.entries if isinstance(node, Entries) else {}
    return {text: one for text, one in found.items() if isinstance(one, Scalar)}


def why_not_told(text: str, words: str) -> tuple[int, str, str] | None:
    """Where in words something keeps them from standing for a text, what, and what to do; None where they can be told.

    Those have no other values than the text, of which each is filled in by its name.
    """
    if not words.strip() and text != ARTICLE:
        return 0, "here are no words", "write what is told, or leave the line out: it is then told in English"
    if "{" not in words and "}" not in words:
        return None
    known = HOLE.findall(text)
    for hole in HOLE.finditer(words):
        if hole.group(1) not in known:
            near = nearest(hole.group(1), known)
            listed = ", ".join(f"`{{{one}}}`" for one in dict.fromkeys(known)) or "none"
            help = f"did you mean `{{{near}}}`?" if near else f"its values are {listed}"
            return hole.start(1), f"the English has no value `{{{hole.group(1)}}}`", help
    alone = _alone(words)
    if alone is None or _alone(text) is not None:  # a text without values may have any signs
        return None
    return alone.start(), f"`{alone.group()}` has no partner", "values stand in `{braces}`"


def _alone(text: str) -> re.Match[str] | None:
    """The first brace of a text that has no partner."""
    return _ALONE.search(HOLE.sub(lambda hole: " " * len(hole.group()), text))
