"""/v1/catalogue: a whole catalogue put in place by one request: what becomes of it, and of what fits, in one commit."""

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import msgspec
import numpy as np
from anyio import to_thread
from litestar import Response, post
from sqlmodel import Session, col, func, select

from fitsvc.answers.shelf import Item, read_items
from fitsvc.audits.chunks import CHUNK
from fitsvc.audits.parquet_chunks import columns_too_large, opened_parquet
from fitsvc.facts import Case
from fitsvc.inventory.stored import StoreRecords, stored
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.feeds import unlisted
from fitsvc.loading.load import store_file
from fitsvc.loading.storing import Loaded
from fitsvc.observing.law import laws_of
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.selection.folding import present_of
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.selector import read_rig_told
from fitsvc.service import examples
from fitsvc.service.audits.upload import receive
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.keys import write_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import Parameter
from fitsvc.service.replies import reply
from fitsvc.store.errors import StillReferenced
from fitsvc.store.records import delete_record, get_records, withdraw
from fitsvc.store.rigs import count_rigs, list_rigs
from fitsvc.store.tables import Accessory, Observation
from fitsvc.store.written import Write, log_write
from fitsvc.tongues import t

MOST_RIGS: Final = 50
"""Saved rigs on which it is told what fits otherwise: each is the whole of what changed, judged twice."""
MOST_NAMED: Final = 100
_SUFFIX: Final = {"csv": ".csv", "jsonl": ".jsonl"}
_FITS: Final = OUTCOMES.index("conditional")
"""An item fits whose outcome stands no further down than this: it works, or does once something is seen to."""


class NotRemoved(msgspec.Struct):
    """An item that the catalogue no longer has and that stays, and why.

    `taken_back` are the facts that the source had told of it and says no more, where others tell of it too.
    """

    sku: str
    because: str
    taken_back: list[str] = []


class FitsChanged(msgspec.Struct):
    """On one saved rig how many items fit that did not before, how many no longer do, and the first of them."""

    rig: str
    gained: int
    lost: int
    gained_skus: list[str]
    lost_skus: list[str]


class CatalogueReport(msgspec.Struct, kw_only=True):
    """What became of a catalogue, or with `dry_run` would: `stored` by subject, and what fits otherwise.

    `withdrawn` counts the items that stay since others tell of them too, of which what the source said is taken back.
    `standing` counts facts that were seen on the parts and that the catalogue says otherwise, or not at all, `disputed`
    those that others say otherwise, so that they are disputed since. Of more
    than so many saved rigs the first are judged; `rigs_left_out` counts the rest.
    """

    dry_run: bool
    stored: dict[str, int]
    replaced: int
    unchanged: int
    removed: int
    not_removed: list[NotRemoved]
    withdrawn: int
    standing: int
    disputed: int
    fits: list[FitsChanged]
    rigs_left_out: int


_FLAG: Final = {"type": "string", "enum": ["no", "yes"], "default": "no"}
_LOAD: Final = Operation(
    id="load_catalogue",
    summary="Put a catalogue in place",
    about=(
        "Takes a file of records as `fitsvc load` does: each with `subject`, `sku`, `label` and facts. It goes in "
        "whole and at once, or not at all, and then every bad row is told by its line. With `mode=merge` what is there "
        "already is made what the file says, as far as its `source` has a say; with `mode=replace` what the same "
        "source told of before, nobody else tells of, and the file no longer has is deleted too; where others tell of "
        "it, it stays, and what the source said of it is taken back. `dry_run` tells what "
        "would become of it, and what would fit otherwise on the saved rigs, and stores nothing."
    ),
    tag="Records",
    gives="CatalogueReport",
    uploads={**examples.CATALOGUE, "application/vnd.apache.parquet": None},
    query=(
        Parameter(
            "mode",
            "Whether what the file no longer has stays.",
            {"type": "string", "enum": ["merge", "replace"], "default": "merge"},
            example="merge",
        ),
        Parameter(
            "source",
            "The feed the file is: it owns what it says. `mode=replace` needs one.",
            {"type": "string", "maxLength": 120, "pattern": r"^[^\u0000]*$"},
            example="our feed",
        ),
        Parameter("dry_run", "Only tell what would become of it.", _FLAG, example="yes"),
    ),
    errors=(408, 413, 415, 507),
    needs_key=True,
    scope="publish",
)


@post("/v1/catalogue", opt=_LOAD.opt, status_code=200, request_max_body_size=None)
async def load(request: AnyRequest) -> Response[bytes]:
    """Put a catalogue in place."""
    query, service, write = query_of(request), service_of(request), write_of(request)
    with tempfile.TemporaryDirectory(prefix="fitsvc-catalogue-") as folder:
        sent = await receive(request, "catalogue", Path(folder), service.audit_bytes)
        path = await to_thread.run_sync(_as_text, sent.part, sent.format)
        return reply(await to_thread.run_sync(_loaded, service, path, query, write))


def _as_text(part: Path, format: str) -> Path:
    """The file under a name that tells its format; a table of columns as text, some thousand rows at a time."""
    path = part.with_suffix(_SUFFIX.get(format, ".csv"))
    if format != "parquet":
        return part.rename(path)
    try:
        _write_csv(part, path)
    except ProblemsFound as found:
        raise ProblemsFound([replace(one, file="") for one in found.problems]) from None
    return path


def _write_csv(table: Path, path: Path) -> None:
    import pyarrow as pa
    import pyarrow.csv as pc

    file = opened_parquet(table)
    if problems := list(columns_too_large(table, file.metadata)):
        raise ProblemsFound(problems)
    try:
        with pc.CSVWriter(path, file.schema_arrow) as written:
            for batch in file.iter_batches(batch_size=CHUNK):
                written.write_batch(batch)
    except (pa.ArrowException, UnicodeDecodeError) as error:
        message = t(
            "is not Parquet whose columns are texts, figures, dates, yes or no: {error}",
            error=str(error).splitlines()[0],
        )
        raise ProblemsFound([Problem(message, t("write the file again"))]) from None


def _loaded(service: Service, path: Path, query: dict[str, Any], write: Write) -> bytes:
    reader, source, dry = service.answerer.reader, query["source"] or "", query["dry_run"] == "yes"
    replaces = query["mode"] == "replace"
    if replaces and not source:
        help = t("name the feed that the file is")
        said = t("`mode=replace` needs a `source`")
        raise ProblemsFound([Problem(said, help, parameter="source", meaning=True, kind="contradiction")])
    with service.database.session() as session:
        newest = session.exec(select(func.max(Observation.sequence))).one() or 0
        try:
            storing = store_file(session, reader, path, replace=True, source=source)
        except ProblemsFound as found:
            raise ProblemsFound([replace(one, file="") for one in found.problems]) from None
        named = {key for subject, key in storing.lines if subject == SUBJECT}
        removed, kept = _remove(session, service, source, named, write) if replaces else (0, [])
        report = _report(storing.loaded, removed, kept, dry=dry)
        report.fits, report.rigs_left_out = _fits(session, service, _changed(session, newest))
        if dry:
            session.rollback()
        else:
            told = {"stored": report.stored, "replaced": report.replaced, "removed": report.removed}
            told["withdrawn"] = report.withdrawn
            log_write(session, write, "loads", "catalogue", source[:80], after=told)
    return msgspec.json.encode(report)


def _report(loaded: Loaded, removed: int, kept: list[NotRemoved], *, dry: bool) -> CatalogueReport:
    return CatalogueReport(
        dry_run=dry,
        stored=loaded.stored,
        replaced=loaded.replaced,
        unchanged=loaded.unchanged,
        removed=removed,
        not_removed=kept[:MOST_NAMED],
        withdrawn=sum(bool(one.taken_back) for one in kept),
        standing=sum(len(names) for _, names in loaded.standing),
        disputed=sum(map(len, loaded.disputed.values())),
        fits=[],
        rigs_left_out=0,
    )


def _remove(
    session: Session, service: Service, source: str, named: set[str], write: Write
) -> tuple[int, list[NotRemoved]]:
    """Delete what the source told of and no longer does, and count it; what others tell of, or a rig has, stays.

    What others tell of stays as they tell it: what the source said is taken back.
    """
    laws, removed, kept = laws_of(service.answerer.reader), 0, list[NotRemoved]()
    for sku, shared in list(unlisted(session, source, named)):
        if shared:
            taken = withdraw(session, SUBJECT, sku, source, "its feed no longer lists it", laws)
            kept.append(NotRemoved(sku, "somebody else tells of it too", taken))
            continue
        try:
            delete_record(session, SUBJECT, sku, by=write.by, laws=laws)
            removed += 1
        except StillReferenced as error:
            kept.append(NotRemoved(sku, str(error)))
    return removed, kept


def _changed(session: Session, newest: int) -> list[str]:
    """The SKUs of which something was told since an observation."""
    session.flush()
    since = col(Observation.sequence) > newest
    return sorted(session.exec(select(Observation.record_id).where(Observation.subject == SUBJECT, since).distinct()))


def _fits(session: Session, service: Service, skus: Sequence[str]) -> tuple[list[FitsChanged], int]:
    """What fits otherwise, of what was changed, on the saved rigs."""
    rigs = list_rigs(session, limit=MOST_RIGS)
    if not skus:
        return [], 0
    held = service.selections.index.held()
    before = {sku: item for sku in skus if (item := held.item(sku)) is not None}
    records = get_records(session, SUBJECT, skus).values()
    told = [stored(SUBJECT, one) for one in records if isinstance(one, Accessory) and one.subject == SUBJECT]
    after = {item.sku: item for item in read_items(service.answerer.reader, told)}
    readable = list(_readable(session, service, [rig.id for rig in rigs]))
    fitted = [_fitting(service, list(items.values()), [case for _, case in readable]) for items in (before, after)]
    found = []
    for number, (rig, _) in enumerate(readable):
        was, now = fitted[0][number], fitted[1][number]
        gained, lost = sorted(now - was), sorted(was - now)
        if gained or lost:
            found.append(FitsChanged(rig, len(gained), len(lost), gained[:MOST_NAMED], lost[:MOST_NAMED]))
    return found, max(count_rigs(session) - MOST_RIGS, 0)


def _readable(session: Session, service: Service, rigs: Sequence[str]) -> Iterator[tuple[str, Case]]:
    """The saved rigs that can be judged."""
    records = StoreRecords(session, service.shop.vehicles)
    for rig in rigs:
        try:
            yield rig, read_rig_told({"rig": {"id": rig}}, service.answerer, records)[0]
        except ProblemsFound:
            continue


def _fitting(service: Service, items: Sequence[Item], rigs: Sequence[Case]) -> list[set[str]]:
    """For each rig the SKUs of the items that fit it."""
    columns, reader = service.answerer.columns, service.answerer.reader
    present = [present_of(item, reader) for item in items]
    catalogue = columns.catalogue([item.values for item in items], {SUBJECT}, present)
    found = []
    for judged in columns.judge_all(catalogue, rigs) if items else ():
        fits = (judged.outcome() <= _FITS)[catalogue.signature_of]
        found.append({items[row].sku for row in np.flatnonzero(fits).tolist()})
    return found or [set() for _ in rigs]
