"""What if a rule were other: it is changed on a page, checked as it is typed, and what it would bring is shown.

Nothing that is answered changes by it and nothing is kept: the change is taken away as a file, for whoever checks,
signs and publishes rules.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from textwrap import dedent
from typing import Final

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.params import FromPath

from fitsvc.audits.foreseen import Shift
from fitsvc.engine.example_changes import ExampleTried, examples_tried
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.drafting import LONGEST, DraftFile, Drafting, DraftPlace, Entry, EntryRead, field_at
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.links import link
from fitsvc.service.counter.lookup import EntryTold, example_told
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.service.counter.writing import sent
from fitsvc.service.rule_trials import StoreImpact, TrialBusy
from fitsvc.service.settings import OPEN
from fitsvc.subjects import KIND
from fitsvc.tongues import later, t

PATH: Final = "/whatif"
BODY_BYTES: Final = 4 * LONGEST
"""A form's text takes up to three bytes for each of its own, and has its other fields beside."""
MOST_PROBLEMS: Final = 20
_LONGEST: Final = {"name": 80, "because": 500}
_FIRST: Final = 8
_RIG: Final = "rig"
_MOUNTING: Final = "mounting"
_NO_RULE: Final = later("There is no rule, limit or need of that name. The page of rules lists all.")
_BUSY: Final = later("a change is tried by somebody else at this moment")
_OPENING: Final = later("the catalogue is being opened")
_AGAIN: Final = later("nothing you typed is lost; send it again in two seconds")
_WAIT: Final = {"Retry-After": "2"}


@dataclass(frozen=True, slots=True)
class FaultTold:
    """One fault: its place in what is typed, if it has one, the key it belongs to, what is wrong and what to do."""

    line: int
    column: int
    key: str
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleLine:
    """An example as it is told: its facts, what it says, what the rule gives now and gave before, and its fault."""

    facts: str
    says: str
    gives: str
    gave: str
    fault: str
    gone: bool


@dataclass(frozen=True, slots=True)
class ShiftLine:
    """Answers about a kind that go from one outcome to another, with cases to open: each its address and name."""

    kind: str
    old: str
    new: str
    count: int
    cases: Sequence[tuple[str, str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was made of the text that is typed, if it was `read`; `impact` is there where it was asked for."""

    read: bool = False
    faults: Sequence[FaultTold] = ()
    more_faults: int = 0
    looser: str = ""
    same: bool = False
    broken: Sequence[ExampleLine] = ()
    changed: Sequence[ExampleLine] = ()
    examples: int = 0
    impact: StoreImpact | None = None
    more: Sequence[ShiftLine] = ()
    fewer: Sequence[ShiftLine] = ()


@get("/{rule:path}", sync_to_thread=True)
def whatif(request: AnyRequest, rule: FromPath[str]) -> Response[str]:
    """Give the page with the rule as it is kept."""
    service = service_of(request)
    told = service.library.entry(str(rule).removeprefix("/"))
    if told is None:
        return not_there(request, t(_NO_RULE))
    try:
        drafting = service.rule_trials.drafting()
        entry = _entry(drafting, told)
        return _page(request, told, entry.text, {}, Checked(read=True, same=True), place=drafting.goes_to(entry))
    except ProblemsFound as found:
        return _refused(request, told, "", {}, str(found.problems[0].message), 409, found.problems[0].help)


@post("/{rule:path}", status_code=200, request_max_body_size=BODY_BYTES)
async def tried(request: AnyRequest, rule: FromPath[str]) -> Response[str] | Response[bytes]:
    """Check what is typed, tell what it would bring, or give it as a file."""
    form, service, name = await sent(request, "edit"), service_of(request), str(rule).removeprefix("/")
    text = _typed(str((await request.form()).get("text", "")))  # a form's fields are told without their first spaces

    def work() -> Response[str] | Response[bytes]:
        told = service.library.entry(name)
        if told is None:
            return not_there(request, t(_NO_RULE))
        if form.refused and needs_key(service):
            return _refused(request, told, text, form.fields, form.refused, form.status)
        try:
            return _tried(request, service, told, text, form.fields)
        except ProblemsFound as found:
            return _refused(request, told, text, form.fields, found.problems[0].message, 409, found.problems[0].help)

    return await to_thread.run_sync(work)


def needs_key(service: Service) -> bool:
    """Whether a change is tried with a key only: it costs more than an answer, so it is open where all is."""
    return not service.public >= OPEN


def _tried(
    request: AnyRequest, service: Service, told: EntryTold, text: str, fields: Mapping[str, str]
) -> Response[str] | Response[bytes]:
    """Do what the form is sent for."""
    does = fields.get("do", "try")
    drafting = service.rule_trials.drafting()
    entry = _entry(drafting, told)
    place = drafting.goes_to(entry)
    found = drafting.tried(entry, text)
    checked = _checked(drafting, entry, found, text)
    wanted = _lacking(fields, place) if does == "draft" else []
    if does == "draft" and not found.problems and not wanted and not found.same:
        try:
            return _file(drafting.draft(entry, text, fields["name"], fields.get("because", "")))
        except ProblemsFound as wrong:
            checked = Checked(read=True, faults=[_fault(one, "") for one in wrong.problems[:MOST_PROBLEMS]])
            return _page(request, told, text, fields, checked, place=place, status=422)
    if does == "try" and found.book is not None and not found.same:
        try:
            if not service.selections.ready:
                return _refused(request, told, text, fields, t(_OPENING), 503, checked=checked, place=place)
            checked = _with_impact(service, checked, service.rule_trials.impact(found.book, entry.id))
        except TrialBusy:
            return _refused(request, told, text, fields, t(_BUSY), 503, checked=checked, place=place)
    status = 422 if checked.faults or wanted else 200
    return _page(request, told, text, fields, checked, place=place, wanted=wanted, status=status)


def _typed(text: str) -> str:
    """What is typed, with the ends of lines that YAML has, and without the indentation that it has in its file."""
    return dedent(text.replace("\r\n", "\n").replace("\r", "\n")).strip("\n") + "\n"


def _entry(drafting: Drafting, told: EntryTold) -> Entry:
    entry = drafting.entry(told.id)
    assert entry is not None, "the library tells the rulebook that was read here"
    return entry


def _lacking(fields: Mapping[str, str], place: DraftPlace) -> list[Problem]:
    """What a draft lacks."""
    found = [
        Problem(t("it is longer than {count} characters", count=most), t("write it shorter"), pointer=name)
        for name, most in _LONGEST.items()
        if len(fields.get(name, "")) > most
    ]
    if place == "new" and not fields.get("name"):
        found.append(Problem(t("a draft has a name"), t("write one that says what is changed"), pointer="name"))
    if place != "file" and not fields.get("because"):
        found.append(Problem(t("say why, for whoever looks later"), pointer="because"))
    return found


def _checked(drafting: Drafting, entry: Entry, found: EntryRead, text: str) -> Checked:
    """What is told of a text that was read."""
    faults = [_fault(one, text) for one in found.problems[:MOST_PROBLEMS]]
    if found.book is None:
        return Checked(read=True, faults=faults, more_faults=max(len(found.problems) - MOST_PROBLEMS, 0))
    ran = [] if found.same else examples_tried(drafting.book, found.book, entry.id)
    return Checked(
        read=True,
        looser=found.looser,
        same=found.same,
        broken=[_line(one) for one in ran if one.broken],
        changed=[_line(one) for one in ran if one.changed and not one.broken],
        examples=sum(not one.gone for one in ran),
    )


def _fault(one: Problem, text: str) -> FaultTold:
    """A problem; one of a file is told with the file's name in the place of a key."""
    key = field_at(text, one.line) if text else Path(one.file).name
    told = ". ".join(sentence(part.rstrip(".")) for part in (one.message, one.help) if part)
    return FaultTold(one.line, one.column, key, told + ("" if told.endswith("?") else "."))


def _line(one: ExampleTried) -> ExampleLine:
    facts, _ = example_told(one.example.node)
    fault = f"{one.problem.message}; {one.problem.help}" if one.problem else ""
    return ExampleLine(facts=facts, says=one.says, gives=one.gives, gave=one.gave, fault=fault, gone=one.gone)


def _with_impact(service: Service, checked: Checked, impact: StoreImpact) -> Checked:
    vocabulary = service.answerer.rulebook.vocabulary
    kind = vocabulary.facts.get(KIND)
    words = vocabulary.words.get(kind.kind, {}) if kind else {}
    return replace(
        checked,
        impact=impact,
        more=[_shift(one, words) for one in impact.found.looser()],
        fewer=[_shift(one, words) for one in impact.found.tighter()],
    )


def _shift(one: Shift, words: Mapping[str, str]) -> ShiftLine:
    kind = sentence(words.get(one.kind, one.kind)) if one.kind else t("Of no sure kind")
    cases = [
        (link("/answer", {_MOUNTING if rig.mounted else _RIG: rig.key, "accessory": sku}), rig.name, sku)
        for rig, sku in one.cases
    ]
    return ShiftLine(kind, one.old, one.new, one.count, cases)


def _file(draft: DraftFile) -> Response[bytes]:
    """A draft to take away; its name is the one that a folder of rules knows it by."""
    told = {"Content-Disposition": f'attachment; filename="{draft.name}"', "Cache-Control": "no-store"}
    return Response(draft.text.encode(), media_type="application/yaml; charset=utf-8", headers=told)


def _refused(
    request: AnyRequest,
    told: EntryTold,
    text: str,
    fields: Mapping[str, str],
    why: str,
    status: int,
    help: str = "",
    *,
    checked: Checked | None = None,
    place: DraftPlace = "new",
) -> Response[str]:
    """The page with why no more was done, and with what was typed."""
    why_not = (why, help or t(_AGAIN))
    answer = _page(request, told, text, fields, checked or Checked(), place=place, refused=why_not, status=status)
    if status == 503:
        answer.headers |= _WAIT
    return answer


def _page(
    request: AnyRequest,
    told: EntryTold,
    text: str,
    fields: Mapping[str, str],
    checked: Checked,
    *,
    place: DraftPlace = "new",
    wanted: Sequence[Problem] = (),
    refused: tuple[str, str] | None = None,
    status: int = 200,
) -> Response[str]:
    at = {name: [one for one in wanted if one.pointer == name] for name in _LONGEST}
    return page(
        request,
        "whatif.html",
        status=status,
        rule=told,
        text=text,
        fields=fields,
        checked=checked,
        place=place,
        at=at,
        refused=refused,
        asks_key=needs_key(service_of(request)),
        here_post=f"{PATH}/{told.id}",
        first=_FIRST,
    )


def router() -> Router:
    """Return the routes of trying a rule."""
    return Router(PATH, route_handlers=[whatif, tried])
