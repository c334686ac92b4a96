"""What a run of a schedule came to, in words: a line that says it, and lines that say more."""

from collections.abc import Iterator
from datetime import datetime
from typing import Final

from fitsvc.document import Document
from fitsvc.store.schedules import zone_of
from fitsvc.store.tables import Schedule, ScheduledRun
from fitsvc.tongues import counted, later, t

RUN_WORDS: Final = {
    "waiting": later("waiting"),
    "running": later("running"),
    "finished": later("finished"),
    "failed": later("failed"),
    "interrupted": later("interrupted"),
    "cancelled": later("cancelled"),
    "refused": later("refused"),
    "missing": later("no file"),
    "skipped": later("skipped"),
}
_MOST_PROBLEMS: Final = 10


def local(instant: datetime, zone: str) -> str:
    """An instant as a clock on the wall there shows it, with the time zone."""
    return f"{instant.astimezone(zone_of(zone)):%Y-%m-%d %H:%M} ({zone})"


def stands(schedule: Schedule, run: ScheduledRun) -> str:
    """One line of how it is with a run, one that has not ended too."""
    if run.told is not None:
        return headline(schedule, run)
    return t("{who}: {state}", who=schedule.supplier, state=t(RUN_WORDS[run.state]))


def headline(schedule: Schedule, run: ScheduledRun) -> str:
    """One line of what a run came to; what was not audited says so first."""
    told, who = run.told or {}, schedule.supplier
    if run.state != "finished":
        return t("{who}: NOT audited, {state}", who=who, state=t(RUN_WORDS[run.state]))
    changes, claims = told["changes"], told["contradicted"]
    if changes is None or claims is None:
        figures = told["figures"]
        return t(
            "{who}: audited; claims contradicted: {false} of {claims}; nothing to compare with",
            who=who,
            false=counted(figures["contradicted"]),
            claims=counted(figures["claims"]),
        )
    gained, lost, less, more = (sum(changes.get(name, {}).values()) for name in ("new", "lost", "less", "more"))
    if not (claims["new"] or claims["gone"] or gained or lost or less or more):
        return t("{who}: audited, no fit and no contradicted claim is otherwise", who=who)
    return t(
        "{who}: claims newly contradicted: {false}, no more: {gone}; fits gained: {gained}, lost: {lost}",
        who=who,
        false=counted(claims["new"]),
        gone=counted(claims["gone"]),
        gained=counted(gained),
        lost=counted(lost),
    ) + (
        t("; with less on them: {less}, with more: {more}", less=counted(less), more=counted(more))
        if less or more
        else ""
    )


def lines(schedule: Schedule, run: ScheduledRun) -> Iterator[str]:
    """What more is to be said of a run, a line each: why it was not as planned, what its file was, what it found."""
    told = run.told or {}
    yield from _when(schedule, run)
    if told.get("why"):
        yield t("Why: {why}.", why=told["why"])
    for one in told.get("problems", [])[:_MOST_PROBLEMS]:
        yield t("Why: {why}.", why="; ".join(filter(None, (one["detail"], one.get("help")))))
    yield from _file(schedule, told)
    if told.get("figures"):
        yield from _found(told)


def _when(schedule: Schedule, run: ScheduledRun) -> Iterator[str]:
    due = local(run.due_at, schedule.zone)
    if run.asked_by:
        yield t("Asked for by {by} at {due}.", by=run.asked_by, due=due)
    elif run.missed:
        yield t(
            "It was due at {due} and is LATE: no server was there. Times that were missed: {times}; it was run once.",
            due=due,
            times=run.missed,
        )
    else:
        yield t("It was due at {due}.", due=due)


def _file(schedule: Schedule, told: Document) -> Iterator[str]:
    file = told.get("file")
    if file is None:
        yield t("The file: `{file}`.", file=schedule.file)
        return
    written = file.get("modified_at")
    at = local(datetime.fromisoformat(written), schedule.zone) if written else t("nobody knows when")
    yield t("The file: `{file}`, {bytes} bytes, written {at}.", file=schedule.file, bytes=counted(file["bytes"]), at=at)
    if told.get("unchanged_since"):
        since = local(datetime.fromisoformat(told["unchanged_since"]), schedule.zone)
        yield t("The file is UNCHANGED: its bytes are those that were audited at {since}.", since=since)


def _found(told: Document) -> Iterator[str]:
    figures, changes, claims = told["figures"], told["changes"], told["contradicted"]
    for one in told["drifted"]:
        yield t("Not as the mapping was made for: {what}.", what=one)
    yield t(
        "Rows: {rows}; not read: {bad}; cells to mend: {fixes}.",
        rows=counted(figures["rows"]),
        bad=counted(figures["bad_rows"]),
        fixes=counted(figures["fixes"]),
    )
    yield t(
        "Claims: {claims}; contradicted: {false}; not to be decided yet: {open}.",
        claims=counted(figures["claims"]),
        false=counted(figures["contradicted"]),
        open=counted(figures["undecided"]),
    )
    if changes is None or claims is None:
        yield t("There is no earlier audit of it to compare with.")
        return
    yield t(
        "Items that are new since then: {new}; gone: {gone}.",
        new=counted(changes["new_items"]),
        gone=counted(changes["gone_items"]),
    )
    if changes["rulebook_changed"]:
        yield t("The rules were others then.")
    for one in claims["first"]:
        yield t(
            "Newly contradicted: {sku}, rigs: {rigs}, such as {rig}: {reason}",
            sku=one["sku"],
            rigs=counted(one["rigs"]),
            rig=one["rig"],
            reason=one["reason"],
        )
    if (more := claims["items"] - len(claims["first"])) > 0:
        yield t("Items beside these: {more}.", more=counted(more))
