"""/v1/changes: whose outcome is another than it was, on saved rigs, and by what: the item, the rig, or the rulebook.

An item and a rig are what was told of them, so that a change names the observations that it came by.
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from time import monotonic
from typing import Final, Literal

import msgspec
from anyio import sleep, to_thread
from litestar import Response, get
from sqlmodel import Session, col, select

from fitsvc.answers.answer import RulebookName
from fitsvc.answers.shelf import Item, read_items
from fitsvc.facts import Case
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.observing.earlier import DELETES, EarlierRecords
from fitsvc.observing.law import laws_of
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import Snapshot, case_of, rig_key
from fitsvc.selection.selector import FITTING, read_rig_told
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import Parameter
from fitsvc.service.replies import reply
from fitsvc.store.rigs import get_rig, list_rigs, parts_used
from fitsvc.store.tables import Observation, SavedRig
from fitsvc.subjects import RIG
from fitsvc.tongues import later
from fitsvc.wanted import still_wanted

MOST_RIGS: Final = 200
"""Saved rigs that are compared one by one; of more, the pages of all are sooner read anew. 3 ms of work for each."""
MOST_NAMED: Final = 1_000
"""Rigs whose pages are to be read anew that are named, and deleted ones."""
MOST_OBSERVATIONS: Final = 10
"""Observations that are named of one change; `/v1/observations` lists all of a record."""
MOST_SAID: Final = 10_000
"""Observations that are looked through; after more, as after a catalogue was loaded, all pages are sooner read anew."""
MOST_ITEMS: Final = 1_000
"""Items that are compared one by one; of more, a rig's pages are sooner read anew."""
MOST_LOADED: Final = 200
"""Items that fit a changed rig as they did whose loads are compared; of more, its pages are sooner read anew. What may
be on one takes 1.5 ms, as it was and as it is."""
LONGEST_WAIT: Final = 25
"""Seconds: less than proxies usually wait for a reply."""
_PAUSE: Final = 0.5
_DIGEST: Final = "sha256:"
_DIGITS: Final = 16
"""So many of a digest's digits tell one rulebook from another: of a billion, two have them by a chance of 3 %."""


ToldSince = dict[tuple[str, str], list[str]]
"""Ids of observations by the subject and the key of what they are of."""
_RIG_IDS: Final = select(SavedRig.id).order_by(col(SavedRig.id)).limit(MOST_NAMED + 1)


def revision_of(number: int, digest: str) -> str:
    """A revision as it is told and asked from: of the store, and of the rulebook that outcomes are by."""
    return f"{number}.{digest.removeprefix(_DIGEST)[:_DIGITS]}"


def _is_by(told: object, digest: str) -> bool:
    """Whether a rulebook that is told, by its digest or the first digits of it, is the one of a digest."""
    return isinstance(told, str) and len(told) >= len(_DIGEST) + _DIGITS and digest.startswith(told)


class OutcomeChange(msgspec.Struct, kw_only=True, omit_defaults=True):
    """One item on one rig: what it came to and comes to now, null where it was not there, or is no more.

    Of one that an earlier version deleted what it came to is no longer known: both are null. Where it fitted and fits,
    with less or more on it, `carried_before` and `carried_after` are what might be on it and may be now, in words; else
    these are left out. `because` says which of
    the two is another, and `observations` what was told of it since, the first ten: of the item, or of the rig and the
    records that it is made of.
    """

    rig: str
    sku: str
    before: Outcome | None
    after: Outcome | None
    carried_before: str | None = None
    carried_after: str | None = None
    because: list[Literal["item", "rig"]]
    observations: list[str]


class OutcomeChanges(msgspec.Struct, kw_only=True):
    """What changed since a revision, and the revision to ask from next.

    The revision names the rulebook too. The pages of a rig in `everything` are to be read anew: it was saved anew, too
    much of it changed, the rulebook is another than that of the revision, or not told by it, or the store is behind the
    revision, as after it was restored from a copy. Those in `gone` were deleted. Where more are to be read anew, or
    were deleted, than are named here, `every_rig` is true: then the list of rigs is to be read anew too. It is the
    rulebook that all of them are in `everything` for where `other_rulebook` is true.
    """

    changes: list[OutcomeChange]
    everything: list[str]
    every_rig: bool = False
    other_rulebook: bool = False
    gone: list[str] = []
    revision: str
    rulebook: RulebookName


_CHANGES: Final = Operation(
    id="list_changes",
    summary="Whose outcome changed?",
    about=(
        "Items whose outcome on a saved rig is another than at a revision, each with what it was, what it is, and "
        "whether the item or the rig is why, by which observations; and those that fit as they did, with less or more "
        "on them. Ask without `since` for the revision of now, then "
        "read pages, then go on from the `revision` of each reply: a change may be told twice, and none is left out, "
        "one of the rules neither. With `wait` the reply comes when there is something, or after so many seconds, at "
        f"most {LONGEST_WAIT}."
    ),
    tag="Selections",
    gives="OutcomeChanges",
    query=(
        Parameter(
            "since",
            "The `revision` of the reply before. A bare number, as a page has it, is of no rulebook that is known: "
            "give that page's `rulebook` with it, or every rig is to be read anew.",
            {"type": "string", "pattern": r"^[0-9]{1,9}(?:\.[0-9a-f]{16})?$", "maxLength": 26},
            example="722.d8ac522205f8b1d1",
            form=later("the `revision` of a reply before"),
        ),
        Parameter("rig", "Only on this saved rig.", {"type": "string", "maxLength": 80}, example="rig_farm_muckle"),
        Parameter("sku", "Only of this accessory.", {"type": "string", "maxLength": 80}, example="SPK-TRUG-2"),
        Parameter(
            "rulebook",
            "The digest of the rulebook that the caller's outcomes are by, where `since` does not name it.",
            {"type": "string", "maxLength": 80},
        ),
        Parameter(
            "wait",
            "How many seconds to wait for a change.",
            {"type": "integer", "minimum": 0, "maximum": LONGEST_WAIT, "default": 0},
        ),
    ),
    errors=(404,),
)


@get("/v1/changes", opt=_CHANGES.opt)
async def list_changes(request: AnyRequest) -> Response[bytes]:
    """Tell what changed, at once or when there is something."""
    query, service = {**query_of(request)}, service_of(request)
    until = monotonic() + query["wait"]
    if query["since"] is not None:
        number, _, by = query["since"].partition(".")
        query |= {"since": int(number), "rulebook": query["rulebook"] or (f"{_DIGEST}{by}" if by else "")}
    while True:
        found = await to_thread.run_sync(changed, service, query)
        if is_told(found) or query["since"] is None or monotonic() >= until:
            return reply(msgspec.json.encode(found), headers={"Cache-Control": "no-store"})
        await sleep(_PAUSE)


def is_told(found: OutcomeChanges) -> bool:
    """Whether anything changed."""
    return bool(found.changes or found.everything or found.gone)


def changed(service: Service, query: Mapping[str, object]) -> OutcomeChanges:
    """What changed since the number of a revision that a query names, and its rulebook."""
    book, since = service.answerer.rulebook, query["since"]
    same = _is_by(query["rulebook"], book.digest)
    held = service.selections.index.held()
    revision = service.selections.index.sure
    told = OutcomeChanges(
        changes=[],
        everything=[],
        revision=revision_of(revision, book.digest),
        rulebook=RulebookName(book.digest, book.name),
    )
    with service.database.session() as session:
        only = str(query["rig"]) if query["rig"] else None
        rigs = [get_rig(session, only)] if only else list(list_rigs(session, limit=MOST_RIGS + 1))
        if not isinstance(since, int):
            return told
        ahead = since > revision and _is_ahead(session, since)
        if since >= revision and not ahead and same:
            return told
        at = None if ahead else _time_of(session, since)
        said = _said(session, since)
        gone = [] if only else _gone(session, since)
        told.gone = gone[:MOST_NAMED]
        unsure = at is None or _out_of_step(session, since, at) or len(rigs) > MOST_RIGS or len(gone) > MOST_NAMED
        if at is None or said is None or unsure or not same:
            named = [only] if only else list(session.exec(_RIG_IDS))
            told.everything = named[:MOST_NAMED]
            told.every_rig = max(len(named), len(gone)) > MOST_NAMED
            told.other_rulebook = not same
            return told
        then = EarlierRecords(session, laws_of(service.answerer.reader), at, service.shop.vehicles)
        for rig in rigs:
            still_wanted()
            found = _of_rig(session, service, held, rig, then, said)
            if found is None:
                told.everything.append(rig.id)
            else:
                told.changes += [one for one in found if query["sku"] in (None, one.sku)]
    return told


def _is_ahead(session: Session, since: int) -> bool:
    """Whether the store has nothing as new as a revision, as after it was restored from a copy of earlier."""
    query = select(Observation.sequence).where(col(Observation.sequence) >= since)
    return session.exec(query.limit(1)).first() is None


def _time_of(session: Session, since: int) -> datetime | None:
    """When the last of what a revision has seen was entered; None where nothing was."""
    query = select(Observation.recorded_at).where(col(Observation.sequence) <= since)
    return session.exec(query.order_by(col(Observation.sequence).desc()).limit(1)).first()


def _out_of_step(session: Session, since: int, at: datetime) -> bool:
    """Whether something came after a revision with an earlier time: a clock was set back, or two wrote at once.

    What was known at that time then cannot be told from what came since.
    """
    query = select(Observation.sequence).where(col(Observation.sequence) > since, col(Observation.recorded_at) <= at)
    return session.exec(query.limit(1)).first() is not None


def _gone(session: Session, since: int) -> list[str]:
    """The rigs that were deleted since, and were not saved again."""
    told_of, act = col(Observation.record_id), col(Observation.act)
    query = select(told_of).where(Observation.subject == RIG, act == DELETES, col(Observation.sequence) > since)
    again = select(SavedRig.id).where(col(SavedRig.id) == told_of)
    return list(session.exec(query.where(~again.exists()).distinct().order_by(told_of).limit(MOST_NAMED + 1)))


def _said(session: Session, since: int) -> ToldSince | None:
    """What was told since, in the order it was: ids of observations by what they are of; None where it is too much."""
    found: ToldSince = {}
    query = select(Observation.subject, Observation.record_id, Observation.id).where(col(Observation.sequence) > since)
    told = session.exec(query.order_by(col(Observation.sequence)).limit(MOST_SAID + 1)).all()
    if len(told) > MOST_SAID:
        return None
    for subject, record, key in told:
        found.setdefault((subject, record), []).append(key)
    return found


def _of_rig(
    session: Session, service: Service, held: Snapshot, rig: SavedRig, then_records: EarlierRecords, said: ToldSince
) -> list[OutcomeChange] | None:
    """What changed on one rig; None where its pages are sooner read anew."""
    if rig.updated_at > then_records.as_of:
        return None
    answerer = service.answerer
    now_records = StoreRecords(session, service.shop.vehicles)
    try:
        now, then = (read_rig_told({"rig": {"id": rig.id}}, answerer, of)[0] for of in (now_records, then_records))
    except ProblemsFound:
        return None
    moved = rig_key(now) != rig_key(then)
    others = service.selections.selector.differing(held, then, now, MOST_ITEMS) if moved else []
    skus = {record for subject, record in said if subject == SUBJECT}
    loaded = service.selections.selector.loaded(held, then, now, MOST_LOADED) if moved else []
    if others is None or loaded is None or len(skus) + len(others) > MOST_ITEMS:
        return None
    of_rig = [key for part in sorted(parts_used(session, rig.id)) for key in said.get(part, ())] if moved else []

    def by(sku: str) -> list[str]:
        """The observations that an item's change came by."""
        return list(dict.fromkeys([*said.get((SUBJECT, sku), ()), *of_rig]))[:MOST_OBSERVATIONS]

    return list(_compared(service, held, rig.id, (then, now), then_records, (skus, {*others, *loaded}), by))


def _compared(
    service: Service,
    held: Snapshot,
    rig: str,
    cases: tuple[Case, Case],
    then_records: EarlierRecords,
    whose: tuple[set[str], set[str]],
    by: Callable[[str], list[str]],
) -> Iterator[OutcomeChange]:
    """The items that come to something else now than then, each compared as one question."""
    touched, others = whose
    moved = rig_key(cases[0]) != rig_key(cases[1])
    for sku in sorted(touched | others):
        still_wanted()
        after = held.item(sku)
        before, known = _item_then(service, then_records, sku) if sku in touched else (after, True)
        pairs = list(zip(cases, (before, after), strict=True))
        then, now = (_outcome(service, case, item) for case, item in pairs)
        carried = [_carried(service, *pair) for pair in pairs] if then in FITTING and now in FITTING else []
        if then != now or not known or len(set(carried)) > 1:
            because: list[Literal["item", "rig"]] = ["item"] if sku in touched else []
            because += ["rig"] if moved else []
            one = OutcomeChange(rig=rig, sku=sku, before=then, after=now, because=because, observations=by(sku))
            if len(set(carried)) > 1:
                one.carried_before, one.carried_after = carried
            yield one


def _item_then(service: Service, records: EarlierRecords, sku: str) -> tuple[Item | None, bool]:
    """An item as it was known then, None where it was not there; and whether that can be told."""
    reader = service.answerer.reader
    try:
        found = records.find(SUBJECT, sku) or records.deleted(sku)
    except KeyError:
        return None, False
    if found is None or found.subject != SUBJECT:
        return None, True
    return next(iter(read_items(reader, [found])), None), True


def _carried(service: Service, rig: Case, item: Item | None) -> str | None:
    """What may be on an item, in words; None where nothing is told."""
    if item is None:
        return None
    case = service.answerer.engine.opened(case_of(rig, item, service.answerer.reader))
    found = service.answerer.allowances.told(case, "us")
    return None if found is None else found.told


def _outcome(service: Service, rig: Case, item: Item | None) -> Outcome | None:
    if item is None:
        return None
    engine = service.answerer.engine
    return engine.evaluate(engine.opened(case_of(rig, item, service.answerer.reader))).outcome
