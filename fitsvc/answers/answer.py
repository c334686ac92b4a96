"""The answer as it goes over the wire: typed structs, encoded as JSON in the order written here."""

from collections.abc import Collection, Mapping
from functools import cached_property
from typing import Any, Final, Literal

import msgspec
from msgspec.structs import replace

from fitsvc.document import Document
from fitsvc.rulebook.outcomes import Outcome, Result, Severity

Ask = Literal["ask", "read", "measure", "weigh", "look up"]
"""How a fact is learnt."""

Sort = Literal["take up", "reduce", "remove", "swap", "receiver", "add", "leave off", "none"]
SeeTo = Literal["look at", "find out", "do", "have"]


class Finding(msgspec.Struct, omit_defaults=True, dict=True, kw_only=True):
    """One rule's result on the case, why, by what margin, and on which facts it rests. Never changed once made."""

    rule: str
    title: str
    result: Result
    severity: Severity
    reason: str
    facts: dict[str, str]
    source: dict[str, str]
    margin: str = ""

    @cached_property
    def encoded(self) -> msgspec.Raw:
        """The finding as JSON, made once: the same findings are told again and again."""
        return msgspec.Raw(msgspec.json.encode(self))


class LimitShown(msgspec.Struct, omit_defaults=True):
    """A limit: at most this, by this part, and the ratings that may be lower still because they are unknown.

    Where the rest of the rig is over it already, nothing is left: at most nothing, and `over` says by how much.
    """

    limit: str
    unknown: list[str]
    at_most: str = ""
    governed_by: str = ""
    over: str = ""


class AllowanceShown(msgspec.Struct, omit_defaults=True, kw_only=True):
    """What an accessory may carry here where no load is named; `told` says it within a sentence.

    `at_most` is all of it together: at most `count` of at most `each`, where it is counted. `by_label` is what its own
    label allows, and `whole` says that it is all of that; else the rules `against` refuse more. It may be less by the
    facts that are `unknown`; without `at_most` nothing is surely allowed until they are known, or where all are, until
    it is weighed. Of several things each may carry so much with all on the others that their labels allow, where no
    load is named for them either, so that what is told of all holds at once.
    """

    allowance: str
    told: str
    unknown: list[str]
    at_most: str = ""
    count: int | None = None
    each: str = ""
    by_label: str = ""
    whole: bool = False
    against: list[str] = []


class Next(msgspec.Struct, omit_defaults=True, kw_only=True):
    """A fact to learn, how, and the readings that decide.

    A reading that works settles the rules in `settles`; `leaves_open` of those that hold up the outcome are then open
    still, and none of them where it decides by itself; where every such reading brings other things to see to, it
    counts those. With a choice of `open_if` nothing is settled. The readings of `doubted_if` are among those of
    `works_if`, but with them the figure itself is doubted beside another that is known, and is to be read again. Where
    the answer tells what may be carried, a reading works for all of that; with those of `less_if` less may be on it.
    `adapter` counts the adapters of an opening from the receiver on, where there are several. `usual` is what the fact
    nearly always is.
    """

    fact: str
    ask: Ask
    how: str
    works_if: str = ""
    fails_if: str = ""
    open_if: str = ""
    doubted_if: str = ""
    less_if: str = ""
    settles: list[str] = []
    leaves_open: int = 0
    adapter: int = 0
    usual: str = ""


class ToSeeTo(msgspec.Struct, omit_defaults=True):
    """One thing that a person has to see to: something to look at or find out, work to do, or a part to have.

    `told` is read out, and `also` where there is time; `rules` and `needs` are the findings and needs seen to with it.
    """

    sort: SeeTo
    told: str
    also: list[str] = []
    rules: list[str] = []
    needs: list[str] = []


class IfUsual(msgspec.Struct):
    """What the answer comes to if these facts are as usual, and the rules that are settled then; not known to be so."""

    outcome: Outcome
    facts: dict[str, str]
    settles: list[str]


class Remedy(msgspec.Struct, omit_defaults=True, kw_only=True):
    """A change that leads to another outcome; `question` is the changed question, to be asked for its full answer.

    `skus` are the parts where the change takes two.
    """

    change: Sort
    outcome: Outcome
    because: str
    sku: str = ""
    skus: list[str] = []
    question: Document = {}


class WayTold(msgspec.Struct, omit_defaults=True):
    """Some values that an open choice may have, the rule that fails with each of them, and why, as a sentence.

    Without a rule none fails with any of them, and none that the choice leaves open is in the way.
    """

    members: list[str]
    rule: str = ""
    reason: str = ""


class EitherWayTold(msgspec.Struct, omit_defaults=True):
    """The open choice with each value of which it comes to the same, though some rules by themselves are undetermined.

    `adapter` is which adapter's it is, counted from the receiver; 0 where it is none's.
    """

    fact: str
    cases: list[WayTold]
    adapter: int = 0


class Candidate(msgspec.Struct):
    """A stored vehicle that the one named in part may be, and what the question comes to on it."""

    id: str
    label: str
    outcome: Outcome


class ThingAnswer(msgspec.Struct):
    """One of several things on a rig: what it comes to by itself, and its answer with all else beside it."""

    name: str
    hangs_on: str
    alone: Outcome
    answer: "Answer"


class Spoiler(msgspec.Struct, omit_defaults=True):
    """A rule that several things on a rig break together, or leave open, and which: a pair, or more by a sum.

    `helps` is what helps where it fails, as the rule says.
    """

    rule: str
    result: Result
    reason: str
    between: list[str]
    helps: str = ""


class Disputed(msgspec.Struct):
    """A fact of which what was said cannot all hold, or hardly can, or was seen before what it leans on changed.

    The answer is as sure as that leaves it.
    """

    fact: str
    state: Literal["doubtful", "disputed", "stale"]
    because: str


class ToldBy(msgspec.Struct, omit_defaults=True, kw_only=True):
    """One statement of a fact in doubt: what was said, how it is known, by whom or by which feed, and seen when."""

    said: str
    kind: str
    by: str = ""
    at: str = ""
    source: str = ""
    observation: str = ""


class RestsOn(msgspec.Struct, omit_defaults=True, kw_only=True):
    """A fact that an answer rests on, as it is told there: how it is known, of which record, by whom and seen when.

    Without a record it was told with the question. `observation` is the statement it comes from, or the last of those
    it follows from; `source` the feed that said it. `state` is there where it is in doubt, and `said` all that was said
    so that it is, the latest last.
    """

    fact: str
    told: str
    record: str = ""
    kind: str = ""
    by: str = ""
    at: str = ""
    source: str = ""
    observation: str = ""
    state: Literal["", "doubtful", "disputed", "stale"] = ""
    said: list[ToldBy] = []


class RulebookName(msgspec.Struct):
    """The rulebook an answer was given by."""

    digest: str
    name: str


class Answer(msgspec.Struct, omit_defaults=True, kw_only=True):
    """The whole answer to one question; `candidates` are the vehicles it holds over, where several are meant.

    Of a question that names several things, `together` has each one's answer and `spoils` what stands against all of
    them at once; `findings` and `limits` are then those of all together, and what to learn next stands in each answer.

    `either_way` is there where an open choice makes no difference to the outcome, though it does to rules: where it
    is no these are undetermined among the findings, as they are one by one, and what the choice is is not asked for.

    `more_open` counts the facts that are open besides those in `next`; of those in `untried` no reading was tried, as
    too much is open. `untried_changes` counts the changes that were not tried for remedies, being too many.
    `if_usual` is what it would be if facts that are asked for are what they nearly always are: a thing to check.

    `to_see_to` is what a person has to see to before it is a plain yes, each thing once, what may yet decide first:
    the findings that are cautions or doubts and the needs, put together where one mends another.
    """

    outcome: Outcome
    summary: str
    findings: list[Finding]
    limits: list[LimitShown]
    needs: list[dict[str, str]]
    next: list[Next]
    remedies: list[Remedy]
    cautions: list[str]
    assumed: list[str]
    rulebook: RulebookName
    candidates: list[Candidate] = []
    allowance: AllowanceShown | None = None
    together: list[ThingAnswer] = []
    spoils: list[Spoiler] = []
    either_way: EitherWayTold | None = None
    disputed: list[Disputed] = []
    more_open: int = 0
    untried: list[str] = []
    untried_changes: int = 0
    if_usual: IfUsual | None = None
    to_see_to: list[ToSeeTo] = []


_encode: Final = msgspec.json.Encoder().encode


def encode(answer: Answer) -> bytes:
    """Encode an answer as JSON bytes; the same answer gives the same bytes, and decoding them the same answer.

    Only the findings are put in place by name, as the JSON each of them keeps; every other field goes as it stands,
    so that a field which is added reaches the wire without a word here.
    """
    return _encode(replace(answer, findings=[finding.encoded for finding in answer.findings]))


def encode_some(answer: Answer, members: Collection[str], more: Mapping[str, Any]) -> bytes:
    """Encode some members of an answer in their order, each as it stands in the whole, and more beside them."""
    told = msgspec.json.decode(encode(answer), type=dict[str, msgspec.Raw])
    return _encode({name: value for name, value in told.items() if name in members} | dict(more))
