"""JSON Schemas of audits."""

from fitsvc.audits.results import TABLES
from fitsvc.audits.rigs import CARRIED
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.service.audits.deliveries import PATTERN
from fitsvc.service.audits.folder import FILES, FORMATS, STATES
from fitsvc.service.json_schema import (
    ANY,
    COUNT,
    COUNTS,
    TEXT,
    TIME,
    Schema,
    array,
    closed,
    described,
    nullable,
    page,
    reference,
    short,
    text,
    word,
)
from fitsvc.service.schema import facts_name
from fitsvc.store.schedules import RUN_STATES
from fitsvc.store.tables import ADDRESS, KEY, LABEL


def audits(vocabulary: Vocabulary) -> dict[str, Schema]:
    """Return the schemas of what the routes of audits take and give."""
    return {
        "NewAudit": _new(vocabulary),
        "Audit": _audit(),
        "AuditSummary": _summary(),
        "Audits": page(reference("Audit")),
        "Suppliers": _suppliers(),
        "NewSchedule": _new_schedule(),
        "Schedule": _schedule(),
        "Schedules": page(reference("Schedule")),
        "ScheduledRun": _run(),
        "ScheduledRuns": closed(
            items=array(reference("ScheduledRun")),
            next=described({"type": ["integer", "null"]}, "What to give as `before` for the next page, or null."),
        ),
        "Table": text("Rows by the columns that the header names."),
        "Page": TEXT,
    }


def _new(vocabulary: Vocabulary) -> Schema:
    key = text(pattern="^aud_[A-Za-z0-9_-]{1,60}$")
    named = [name for name in CARRIED if name in vocabulary.subjects]
    carried = {name: nullable(closed(facts=reference(facts_name(name)))) for name in named}
    made, against = described(key, "Made if left out."), described(key, "A finished audit to compare with.")
    return closed([], id=nullable(made), name=nullable(short(LABEL)), against=nullable(against), **carried)


def _audit() -> Schema:
    about = (
        "`new` until it is started; then `queued`, `running`, and `finished`, `failed` (its files are not right), "
        "`interrupted` (by a fault of the service: started again, it goes on) or `cancelled`."
    )
    return closed(
        id=TEXT,
        name=TEXT,
        state=word(STATES, about),
        created_at=TIME,
        created_by=TEXT,
        against={"type": ["string", "null"]},
        asked=described(ANY, "What every rig carries or tows."),
        files=array(_file()),
        progress=nullable(_progress()),
        problems=array(closed(["detail"], detail=TEXT, help=TEXT, file=TEXT, line=COUNT, column=TEXT)),
        results=array(word(TABLES)),
    )


def _new_schedule() -> Schema:
    path = text(maxLength=ADDRESS, pattern=PATTERN)
    file = described(path, "A path below the operator's deliveries, such as `thorn/catalogue.csv`.")
    claims = described(path, "The same of a file of claims, where the catalogue does not say what fits.")
    supplier = text("Whose mapping it is read by, as it was taken in.", pattern="^[a-z0-9_-]{1,120}$")
    at = text("A time of day of 24 hours.", pattern="^(?:[01][0-9]|2[0-3]):[0-5][0-9]$")
    zone = described(short(KEY), "Where that time of day is meant, such as `Europe/Berlin`; `UTC` if left out.")
    may = {"claims": nullable(claims), "zone": nullable(zone)}
    return closed(["supplier", "file", "at"], supplier=supplier, file=file, at=at, **may)


def _schedule() -> Schema:
    return closed(
        id=TEXT,
        supplier=TEXT,
        file=TEXT,
        claims={"type": ["string", "null"]},
        at=TEXT,
        zone=TEXT,
        created_by=TEXT,
        created_at=TIME,
        due_at=described(TIME, "When it is run next."),
        newest=nullable(reference("ScheduledRun")),
    )


def _run() -> Schema:
    about = (
        "`waiting` until no other is at work, `running`, and then `finished`; or not audited: `missing` (no file), "
        "`refused`, `failed`, `interrupted` (by a fault of the service), `cancelled`, or `skipped` (the run before it "
        "was still under way)."
    )
    notice = closed(
        to=TEXT,
        told_at=nullable(TIME),
        attempts=COUNT,
        failure={"type": ["string", "null"]},
        due_at=described(nullable(TIME), "When it is tried again; null once it was taken or given up."),
    )
    return closed(
        run=COUNT,
        schedule=TEXT,
        state=word(RUN_STATES, about),
        due_at=TIME,
        missed=described(COUNT, "How many times it was due while no server was there."),
        asked_by=described(TEXT, "Who had it run out of its time."),
        made_at=TIME,
        ended_at=nullable(TIME),
        audit={"type": ["string", "null"]},
        summary=described(TEXT, "One line of what it came to."),
        lines=described(array(TEXT), "What more is to be said, a line each."),
        told=nullable(_told()),
        notices=array(notice),
    )


def _told() -> Schema:
    """What a run came to, in figures."""
    time = nullable(TIME)
    first = closed(sku=TEXT, rigs=COUNT, rig=TEXT, rule=TEXT, reason=TEXT)
    about = "Claims contradicted that were not before, and no more; the items with most of them."
    return closed(
        why=described(TEXT, "Why it was not audited."),
        problems=array(ANY),
        file=nullable(closed(bytes=COUNT, sha256=TEXT, modified_at=time)),
        unchanged_since=described(time, "When the same bytes were audited first; null where they are others."),
        against={"type": ["string", "null"]},
        figures=nullable(COUNTS),
        changes=nullable(ANY),
        contradicted=nullable(closed(None, about, new=COUNT, gone=COUNT, items=COUNT, first=array(first))),
        drifted=described(array(TEXT), "What of the file is not as its mapping was made for."),
    )


def _suppliers() -> Schema:
    delivery = closed(
        audit=TEXT,
        file=TEXT,
        day=described(TEXT, "The day of the audit (ISO 8601)."),
        rows=COUNT,
        judged=described(COUNT, "Rows that were judged whole."),
        claims=COUNT,
        false=described(COUNT, "Claims that the rules contradict."),
        open=described(COUNT, "Claims that cannot be decided yet."),
        fixes=described(COUNT, "Cells to be mended."),
    )
    return closed(suppliers=array(closed(supplier=TEXT, deliveries=array(delivery))))


def _file() -> Schema:
    return closed(name=word(FILES), format=word(sorted(set(FORMATS.values()))), bytes=COUNT, sha256=TEXT)


def _progress() -> Schema:
    number: Schema = {"type": ["integer", "null"]}
    total = described(number, "Null where it is not known.")
    left = described(number, "Seconds until the stage is done, at this pace.")
    return closed(stage=TEXT, done=COUNT, total=total, seconds_left=left)


def _summary() -> Schema:
    about = "A fact that alone would decide so many pairs, on so many items or rigs."
    missing = closed(["fact", "pairs", "claims"], about, fact=TEXT, pairs=COUNT, claims=COUNT, items=COUNT, rigs=COUNT)
    claims = described(ANY, "Claims by outcome, by the rules that contradict them, and fits not claimed.")
    return closed(
        about=described(
            closed(supplier=TEXT, file=TEXT, day=TEXT),
            "Whose catalogue it is, by the audit's name, its file and the day.",
        ),
        fixes=described(COUNT, "Cells to be mended, of which `fix_list` has those that decide most."),
        run=described(ANY, "Digests of all that the results follow from."),
        rulebook=closed(name=TEXT, digest=TEXT),
        rows=ANY,
        rigs=COUNT,
        claims_of_ours=described(COUNT, "Claims that are unclear for what the store lacks."),
        rigs_set_aside=described(
            array(TEXT), "Saved rigs that an earlier change of their parts broke, each with what is wrong."
        ),
        pairs=COUNT,
        outcomes=closed(**dict.fromkeys(OUTCOMES, COUNT)),
        faults=COUNTS,
        claims=nullable(claims),
        others=described(ANY, "Trailers and adapters with every rig: items, pairs by outcome, and those claimed."),
        balls=nullable(described(ANY, "The same of balls on the catalogue's own mounts.")),
        rescued=COUNTS,
        hitched=COUNTS,
        missing=array(missing),
        disputed=array(closed(rig=TEXT, fact=TEXT, state=word(("doubtful", "disputed", "stale")), because=TEXT)),
        untold=described(
            array(closed(vehicle=TEXT, wanting=TEXT, claims=COUNT)),
            "Vehicles of which too little is stored to tell whether they are claimed.",
        ),
        fits_nothing=COUNT,
        rigs_without=COUNTS,
        suspicious=COUNTS,
        suspicious_columns=described(ANY, "Facts of which the whole column looks wrong, with what it probably is."),
        rules=array(ANY),
        changes=nullable(ANY),
    )
