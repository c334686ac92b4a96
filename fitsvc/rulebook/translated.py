"""What is wrong with a folder's words in other languages, and what in them is hardly meant, each where it stands.

No answer rests on them, and at run time words that cannot be told give way to English: so what is wrong is told when a
folder is checked or published, and keeps nobody from answering.
"""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

import fitsvc
from fitsvc.language.problems import Problem, nearest
from fitsvc.rulebook.folder import CORE, shown_as, tongue_files
from fitsvc.rulebook.rules import Rulebook, Template, optional_values, values_of
from fitsvc.rulebook.tongue_files import HOLE, read_words_files, why_not_told, words_in
from fitsvc.rulebook.tongues import can_join, labels_of, read_said, templates_of, texts_of
from fitsvc.rulebook.yaml_text import Mapping as Entries
from fitsvc.rulebook.yaml_text import Node, Scalar
from fitsvc.tongues import ENGLISH, is_language

_TOLD: Final = ("texts", "labels")
_IF_KNOWN: Final = re.compile(r"\[([^\[\]|]*)(?:\|([^\[\]|]*))?\]")
_SIGN: Final = re.compile(r"[\[\]|]")
_NEARLY: Final = 0.75
"""How alike a text has to be for words that were written for what it was before."""
_NONE: Final[Mapping[Path, bytes | Node]] = {}


def words_at_fault(rulebook: Rulebook, folder: Path, contents: Mapping[Path, bytes | Node] = _NONE) -> list[Problem]:
    """Words of a folder, or of the core within it, that cannot be told for their text, or that its core has already.

    `contents` are the trees of files that have been read already. ProblemsFound where a file is none of words.
    """
    files, templates, problems = read_words_files(folder, contents), templates_of(rulebook), list[Problem]()
    for name, path in tongue_files(folder).items():
        if not path.is_relative_to(folder):
            continue
        tree, code = files[name], path.stem
        if not is_language(code) or code == ENGLISH.code:
            help = "name the file by the code of another language than English, as in `es.yaml`"
            problems.append(Problem(f"`{code}` is no language that words can be in", help, file=shown_as(path)))
        for section in _TOLD:
            for text, words in words_in(tree, section).items():
                wrong = why_not_told(text, words.value) or _bracketed(text, words.value, templates)
                problems += [words.problem_at(*wrong)] if wrong else []
        for meet, written in words_in(tree, "joins").items():
            if not can_join(meet, written.value):
                help = "write the words that meet, as in `de el: del`"
                problems.append(written.problem("this cannot be read as words that meet", help))
        core = files.get(f"{CORE}/{name}")
        problems += _exchanged(tree, core) if core is not None else ()
    return problems


def words_left_out(folder: Path) -> list[Problem]:
    """Words of a folder that leave out a value of their text; ProblemsFound where a file is none of words."""
    files, problems = read_words_files(folder), list[Problem]()
    for name, path in tongue_files(folder).items():
        for section in _TOLD if path.is_relative_to(folder) else ():
            for text, words in words_in(files[name], section).items():
                told = HOLE.findall(words.value)
                lost = [f"`{{{one}}}`" for one in dict.fromkeys(HOLE.findall(text)) if one not in told]
                if lost:
                    help = "tell it as the English does, wherever it stands in the sentence"
                    problems.append(words.problem(f"these words leave out {', '.join(lost)}", help))
    return problems


def words_for_nothing(rulebook: Rulebook, folder: Path) -> list[Problem]:
    """Words of a folder for what neither its rules nor fitsvc itself say; ProblemsFound where a file is none of words.

    Who changed a reason, or misspelt it here, has it told in English.
    """
    files, problems = read_words_files(folder), list[Problem]()
    known = {*texts_of(rulebook), *labels_of(rulebook)}
    for tree in read_words_files(Path(fitsvc.__file__).parent).values():
        known |= {text for section in _TOLD for text in words_in(tree, section)}
    for name, path in tongue_files(folder).items():
        for section in _TOLD if path.is_relative_to(folder) else ():
            for text, words in words_in(files[name], section).items():
                if text not in known:
                    near = nearest(text, known, _NEARLY)
                    help = (
                        f"write the text as it is said now: `{near}`"
                        if near
                        else "write the text as it is said now, or take the line out"
                    )
                    problems.append(words.problem("no text reads so now: these words are never told", help))
    return problems


def _bracketed(text: str, words: str, templates: Mapping[str, Template]) -> tuple[int, str, str] | None:
    """What is wrong with the `[brackets]` of a reason's words, as `why_not_told` tells it."""
    if text not in templates:
        return None
    bare = HOLE.sub(lambda hole: " " * len(hole.group()), words)
    alone = _SIGN.search(_IF_KNOWN.sub(lambda part: " " * len(part.group()), bare))
    help = "words that are told where their values are known stand in `[brackets]`, others after a `|` in them"
    if alone:
        return alone.start(), f"`{alone.group()}` has no partner", help
    for found in _IF_KNOWN.finditer(bare):
        if not HOLE.search(words, *found.span(1)):
            return found.start(), "no value stands in `[brackets]`", f"{help}: name one in `{{braces}}`"
    english, values = templates[text], {one.told: one for one in values_of(templates[text])}
    always = {
        one.told for one, optional in zip(values_of(english), optional_values(english), strict=True) if not optional
    }
    said = tuple(read_said(words, values))
    for one, optional in zip(values_of(said), optional_values(said), strict=True):
        if not optional and one.told not in always:
            return (
                words.index(f"{{{one.told}}}"),
                f"`{{{one.told}}}` may not be known, and stands outside of `[brackets]`",
                "put the words it is told with in brackets, as the English has them",
            )
    return None


def _exchanged(tree: Entries, core: Entries) -> Iterator[Problem]:
    """A problem for whatever the core has words for already: nothing is exchanged by being written again."""
    sections = [*_TOLD, "joins"]
    had = {text: words for section in sections for text, words in words_in(core, section).items()}
    for section in sections:
        for text, words in words_in(tree, section).items():
            if text in had:
                yield _said_already(words, had[text])


def _said_already(words: Scalar, before: Scalar) -> Problem:
    place = f"{before.mark.file}:{before.mark.line}"
    help = "take it out; to have it said otherwise, change the English by an entry under `changes:` in overlay.yaml"
    return words.problem(f"the core has words for this already, at {place}", help)
