"""What was tried to make a whole answer quicker, and what it brings: `PYTHONPATH=tests python -m bench.bench_tried`.

Prototypes beside what is there, in turn: an answer that words nothing of what passes, as if that were told by code
until it is asked for, on questions that nobody asked before; findings kept as the bytes that they are sent as, so that
an answer is put together of them; a question read by decoders generated from the vocabulary, in one pass to typed
facts, of which each was read before; and rules that share nothing, each judged by itself, beside ours that share what
they read and are passed over by guard. The first three do less than they would have to if they were made: what they
save is the most that could be gained. Rules judged by machine code are measured by `bench.bench_native`, which needs a
compiler.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from bench.bench_answer import bodies, prepared, told
from bench.measuring import SMALL, Group, Row, in_turn, show
from bench.questions import questions
from fitsvc.answers.answer import Answer, Finding, encode
from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import System
from fitsvc.language.typed import TOLD
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.bodies import decode
from fitsvc.subjects import BESIDE_RIG

COUNT, BEFORE = 40, 300
ROUNDS = 5 if SMALL else 15
COMMAND = "bench.bench_tried"
TITLE = "What was tried for a whole answer never asked"


class ByCode(Answerer):
    """An answerer that words nothing of what passes."""

    def findings(self, verdict: Verdict, case: Case, system: System = "us", *, passing: bool = True) -> list[Finding]:
        """The findings but those that pass."""
        return super().findings(verdict, case, system, passing=False)


def by_code() -> Group:
    """An answer with all findings, and with those alone that do not pass."""
    ours, short = prepared(), ByCode(load_rulebook(data_dir("rules")))
    short.prepare()
    for answerer in (ours, short):
        _each(answerer, bodies(questions, 1, BEFORE))
    sent = {number: bodies(questions, 100 + number) for number in range(-2, ROUNDS)}
    times = in_turn(ROUNDS, COUNT, lambda number: _each(ours, sent[number]), lambda number: _each(short, sent[number]))
    names = "fitsvc, all findings in words", "nothing of what passes in words"
    return _group("what passes told by code", names, times)


def _each(answerer: Answerer, of: Sequence[bytes]) -> None:
    for body in of:
        told(answerer, body)


class _AsBytes(msgspec.Struct):
    """An answer whose findings are bytes already."""

    findings: list[msgspec.Raw]
    rest: dict[str, Any]


def as_bytes() -> Group:
    """An answer written, and written with findings that are bytes already."""
    answerer, encoder = prepared(), msgspec.json.Encoder()
    answers = [answerer.answer(decode(body)) for body in bodies(questions, 1)]
    findings = {id(one): msgspec.Raw(encoder.encode(one)) for answer in answers for one in answer.findings}
    names = [field.name for field in msgspec.structs.fields(Answer) if field.name != "findings"]

    def put_together(answer: Answer) -> bytes:
        raw = [findings[id(one)] for one in answer.findings]
        return encoder.encode(_AsBytes(raw, {name: getattr(answer, name) for name in names}))

    times = in_turn(
        ROUNDS, COUNT, lambda _: [encode(one) for one in answers], lambda _: [put_together(one) for one in answers]
    )
    return _group("findings kept as bytes", ("fitsvc, the answer written", "put together of such bytes"), times)


class OnePass:
    """Reads questions of inline facts by decoders generated from the vocabulary, each fact looked up as it was read."""

    def __init__(self, reader: FactReader) -> None:
        self._named = reader.rulebook.named
        self._slots: dict[tuple[str, Any], dict[str, Any]] = {}
        subjects = {name: self._subject(name, [*facts]) for name, facts in reader.subjects.items()}
        rig = [(one, subjects[one] | None, None) for one in ("vehicle", "receiver", "mounting", "spare")]
        beside = [(one, subjects[one] | None, None) for one in BESIDE_RIG]
        inside = msgspec.defstruct("Rig", rig, forbid_unknown_fields=True)
        self._decode = msgspec.json.Decoder(
            msgspec.defstruct("Asked", [("rig", inside), *beside], forbid_unknown_fields=True)
        ).decode

    def _subject(self, name: str, facts: Sequence[str]) -> Any:
        """A subject's part of a question, with a member for each of its facts."""
        wire = str | int | bool | None
        members = msgspec.defstruct(f"Of_{name}", [(one, wire, None) for one in facts], forbid_unknown_fields=True)
        return msgspec.defstruct(f"Part_{name}", [("facts", members)], forbid_unknown_fields=True)

    def learn(self, body: bytes, reader: FactReader) -> None:
        """Read a question's facts, so that they were read before."""
        document = msgspec.json.decode(body)
        for subject, part in [*document["rig"].items(), *document.items()]:
            if subject != "rig":
                for name, wire in part["facts"].items():
                    self._slots[f"{subject}.{name}", wire] = reader.value(reader.subjects[subject][name], wire)

    def read(self, body: bytes) -> Case:
        """A question's case."""
        asked: Any = self._decode(body)
        slots = self._slots
        values: dict[str, Any] = {}
        present = set[str]()
        for of in (asked.rig, asked):
            for subject in of.__struct_fields__:
                part = getattr(of, subject) if subject != "rig" else None
                if part is not None:
                    present.add(subject)
                    for name in part.facts.__struct_fields__:
                        wire = getattr(part.facts, name)
                        if wire is not None:
                            values.update(slots[f"{subject}.{name}", wire])
        return Case(values, frozenset(present | (self._named & values.keys())))


def one_pass() -> Group:
    """A question read, and read in one pass."""
    reader = prepared().reader
    passes, sent = OnePass(reader), bodies(questions, 1)
    for body in sent:
        passes.learn(body, reader)
        case = read_question(decode(body), reader, NoRecords()).case
        # What was told by one end alone, as a figure of nothing, the prototype leaves out.
        known = {name: value for name, value in case.facts.items() if not name.endswith(TOLD)}
        assert (passes.read(body).facts, passes.read(body).present) == (known, case.present)
    times = in_turn(
        ROUNDS,
        COUNT,
        lambda _: [read_question(decode(body), reader, NoRecords()) for body in sent],
        lambda _: [passes.read(body) for body in sent],
    )
    names = "fitsvc, the facts read, each checked and told where it is wrong", "by generated decoders, nothing checked"
    return _group("one pass from JSON to typed facts", names, times)


def shared() -> Group:
    """The rules judged together, and each by itself."""
    answerer = prepared()
    engine, every = answerer.engine, range(len(answerer.rulebook.rules))
    cases = [read_question(decode(body), answerer.reader, NoRecords()).case for body in bodies(questions, 1)]
    for case in cases:
        assert [engine.judge(number, case) for number in every] == engine.rule_by_rule(case).results(len(every))
    times = in_turn(
        ROUNDS,
        COUNT,
        lambda _: [engine.rule_by_rule(case) for case in cases],
        lambda _: [[engine.judge(number, case) for number in every] for case in cases],
    )
    names = "fitsvc, rules that share what they read and their guards", "each rule by itself"
    return _group("what rules share, which is in use", names, times)


def _group(what: str, names: Sequence[str], times: Sequence[Any]) -> Group:
    parts = ("ours", "beside")
    rows = [Row(part, name, time) for part, name, time in zip(parts, names, times, strict=True)]  # type: ignore[arg-type]  # a column of a few words
    saved = (times[0].middle - times[1].middle) * 1e6
    told = f"It saves {saved:,.0f} µs an answer." if saved > 0 else f"Without it, it takes {-saved:,.0f} µs longer."
    return Group(f"{TITLE}: {what}", COMMAND, rows, notes=[told])


def groups() -> Iterator[Group]:
    """Each in turn."""
    for one in (by_code, as_bytes, one_pass, shared):
        yield one()


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
