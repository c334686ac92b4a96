"""What is kept of a supplier's file at the counter, what a page shows and asks of it, and answers put into its mapping.

The file is read as in every language, whatever is spoken: with a decimal point where its column does not say otherwise.
"""

import hashlib
import shutil
from collections.abc import Collection, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from fitsvc.audits.asking import IGNORE, IntakeQuestions, OpenWord
from fitsvc.audits.drafting import DraftedColumn
from fitsvc.audits.intake import TakenIn, mapping_of, take_in
from fitsvc.audits.mapping import KEYS
from fitsvc.document import Json
from fitsvc.files import PART
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.audits.folder import SUPPLIERS, digest_of
from fitsvc.service.context import Service
from fitsvc.service.counter.fields import sentence
from fitsvc.tongues import later, speaking, t, tongue

_MOST_SHOWN: Final = 60
"""Columns, and words of lists, that a page asks at once: more nobody answers on one page."""
_NONE: Final = "none"
_KEYS_TOLD: Final = {
    "sku": later("its number"),
    "subject": later("what sort of item it is"),
    "label": later("what it is called"),
    "fits": later("the rigs or vehicles that it is claimed to fit"),
    IGNORE: later("nothing that is read"),
}
assert _KEYS_TOLD.keys() == {*KEYS, IGNORE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What became of answers: what is wrong with them, by their fields, and columns of which few cells read so."""

    problems: Sequence[Problem] = ()
    unsure: Mapping[int, DraftedColumn] = field(default_factory=dict)

    @property
    def is_open(self) -> bool:
        """Whether something of it is not kept."""
        return bool(self.problems or self.unsure)


NOTHING_SAID: Final = Answered()


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnShown:
    """One column as a page shows it: what it is taken for and what of it reads, or some cells, and what was typed."""

    number: int
    title: str
    called: str
    share: str
    cells: Sequence[str]
    odd: Sequence[tuple[str, int]]
    asks: str
    fact: str
    unit: str
    problems: Sequence[Problem]
    unsure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WordShown:
    """One word of a list that is no member of it, as a page asks of it."""

    number: int
    one: OpenWord
    said: str
    members: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeShown:
    """All that a page shows of a supplier's file."""

    supplier: str
    file: str
    tag: str
    written: Sequence[str]
    drifted: Sequence[str]
    sheets_left: Sequence[str]
    is_new: bool
    asked: Sequence[ColumnShown]
    taken: Sequence[ColumnShown]
    left: int
    words: Sequence[WordShown]
    mapping: str
    facts: Sequence[tuple[str, str]]


class TakingIn:
    """A supplier's newest file and mapping, as the service keeps them beside its audits."""

    def __init__(self, service: Service, supplier: str) -> None:
        self._service, self.supplier = service, supplier
        self.folder = service.audits.root / SUPPLIERS
        self.lock = self.folder / f"{supplier}.lock"
        self._kept = mapping_of(self.folder, supplier)

    def deliveries(self) -> list[Path]:
        """The file that is kept, or more where a server ended while it was taken."""
        return sorted(one for one in self.folder.glob(f"{self.supplier}.delivery.*") if one.suffix != PART)

    def answer(self, fields: Mapping[str, str]) -> Answered:
        """Put answers into the mapping, each that reads; nothing where it is another by now than the page showed."""
        with self._speaking():
            taken, questions = self._questions()
            if fields.get("tag") != self._tag():
                return Answered(problems=[Problem(t("the mapping was changed since this page was opened: look again"))])
            problems = [*self._answer_words(questions, fields)]
            unsure, open_ = dict[int, DraftedColumn](), {one.title for one in questions.columns()}
            for number, one in enumerate(taken.columns):
                if self._called(questions, fields.get(f"fact.{number}", "")) == IGNORE and one.taken is not None:
                    questions.keep_ignored(one.title)
            for number, one in enumerate(taken.columns):
                try:
                    if (read := self._answer_column(questions, fields, number, one, open_)) is not None:
                        unsure[number] = read
                except ProblemsFound as found:
                    problems += [replace(problem, pointer=f"fact.{number}") for problem in found.problems]
        return Answered(problems=problems, unsure=unsure)

    def _answer_words(self, questions: IntakeQuestions, fields: Mapping[str, str]) -> Sequence[Problem]:
        problems = []
        for number, word in enumerate(list(questions.words())):
            if (said := fields.get(f"word.{number}", "")) == "":
                continue
            try:
                questions.keep_word(word, "" if said == _NONE and _NONE not in word.members else said)
            except ProblemsFound as found:
                problems += [replace(one, pointer=f"word.{number}") for one in found.problems]
        return problems

    def _answer_column(
        self,
        questions: IntakeQuestions,
        fields: Mapping[str, str],
        number: int,
        one: DraftedColumn,
        open_: Collection[str],
    ) -> DraftedColumn | None:
        """Keep what one column was answered to be; how it reads where that is to be confirmed first."""
        said, unit = self._called(questions, fields.get(f"fact.{number}", "")), fields.get(f"unit.{number}", "")
        was = (one.taken.name, one.taken.unit) if one.taken and one.title not in open_ else ("", "")
        if not said or (said, unit) == was:
            return None
        if said == IGNORE:
            if one.taken is None:
                questions.keep_ignored(one.title)
            return None
        read = questions.told(one.title, f"{said} [{unit}]" if unit else said)
        if read.share < 1.0 and f"sure.{number}" not in fields:
            return read
        questions.keep(read)
        return None

    def _called(self, questions: IntakeQuestions, said: str) -> str:
        """What is typed by its label in the language that is spoken, by its name."""
        return {label.casefold(): name for name, label in self._facts(questions)}.get(said.casefold(), said)

    def _facts(self, questions: IntakeQuestions) -> list[tuple[str, str]]:
        """What a column may be, each with its label."""
        told = self._service.answerer.rulebook.vocabulary  # which speaks the language that is spoken
        return [
            *((name, t(words)) for name, words in _KEYS_TOLD.items()),
            *((n, told.facts[one.name].label) for n, one in questions.facts.items()),
        ]

    def shown(self, fields: Mapping[str, str], answered: Answered) -> IntakeShown:
        """What a page shows; ProblemsFound where the file or the mapping cannot be read."""
        with self._speaking():
            taken, questions = self._questions()
        open_ = {one.title for one in questions.columns()}
        every = [
            self._column(questions, number, one, one.title in open_, fields, answered)
            for number, one in enumerate(taken.columns)
        ]
        asked = [one for one in every if one.title in open_ or one.problems or one.unsure]
        others = [one for one in every if one not in asked]
        labels = dict(self._facts(questions))
        words = [
            WordShown(
                number=number,
                one=one,
                said=fields.get(f"word.{number}", "") if answered.is_open else "",
                members=self._members(taken, questions, one),
            )
            for number, one in enumerate(questions.words())
        ]
        return IntakeShown(
            supplier=self.supplier,
            file=self._file().name.removeprefix(f"{self.supplier}.delivery"),
            tag=self._tag(),
            written=taken.words,
            drifted=taken.drifted,
            sheets_left=taken.left,
            is_new=taken.is_new,
            asked=asked[:_MOST_SHOWN],
            taken=others[:_MOST_SHOWN],
            left=max(len(asked) - _MOST_SHOWN, 0) + max(len(words) - _MOST_SHOWN, 0),
            words=words[:_MOST_SHOWN],
            mapping=self._kept.read_text("utf-8"),
            facts=list(labels.items()),
        )

    def _members(self, taken: TakenIn, questions: IntakeQuestions, word: OpenWord) -> list[tuple[str, str]]:
        """What a word of a list may mean, as people call it."""
        vocabulary = self._service.answerer.rulebook.vocabulary
        name = next(one.taken.name for one in taken.columns if one.title == word.title and one.taken)
        called = vocabulary.words.get(questions.facts[name].kind, {})
        return [(member, called.get(member, member.replace("_", " "))) for member in word.members]

    def _column(
        self,
        questions: IntakeQuestions,
        number: int,
        one: DraftedColumn,
        is_open: bool,
        fields: Mapping[str, str],
        answered: Answered,
    ) -> ColumnShown:
        labels, at = dict(self._facts(questions)), f"fact.{number}"
        read = answered.unsure.get(number)
        problems = [problem for problem in answered.problems if problem.pointer == at]
        fact, unit = ("", "") if is_open else (one.taken.name, one.taken.unit) if one.taken else (IGNORE, "")
        if read is not None or problems:
            fact, unit = fields.get(at, ""), fields.get(f"unit.{number}", "")
        unsure = ""
        if read is not None:
            odd = ", ".join(f"`{cell}`" for cell, _ in read.odd)
            unsure = t("{share} of its cells read as that; not {odd}", share=f"{read.share:.0%}", odd=odd)
        return ColumnShown(
            number=number,
            title=one.title,
            called=sentence(labels.get(one.taken.name, one.taken.name)) if one.taken else "",
            share=f"{one.share:.0%}",
            cells=questions.samples(one.title),
            odd=one.odd,
            asks=one.question or (t("what is it?") if is_open else ""),
            fact=fact,
            unit=unit,
            problems=problems,
            unsure=unsure,
        )

    def audit(self, by: str) -> str:
        """Have the file audited by the mapping that is kept; returns the audit's id."""
        told: dict[str, Json] = {
            "name": self.supplier,
            "against": None,
            "carried": {},
            "created_by": by,
            "language": tongue().code,
        }
        folder = self._service.audits.create(None, told)
        for name, source in (("catalogue", self._file()), ("mapping", self._kept)):
            part = folder.path / f"{name}{PART}"
            shutil.copyfile(source, part)
            folder.add_file(name, part, source.suffix.removeprefix("."), part.stat().st_size, digest_of(part))
        folder.start()
        return folder.key

    def _questions(self) -> tuple[TakenIn, IntakeQuestions]:
        reader = self._service.judge.reader
        taken = take_in(self._file(), reader, self.folder, self.supplier)
        return taken, IntakeQuestions(self._file(), reader, self._kept, taken.columns)

    def _file(self) -> Path:
        return self.deliveries()[-1]

    def _tag(self) -> str:
        return hashlib.sha256(self._kept.read_bytes()).hexdigest()[:12]

    def _speaking(self) -> AbstractContextManager[None]:
        return speaking(replace(tongue(), decimal="."))
