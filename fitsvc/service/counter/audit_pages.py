"""The pages of audits: send a catalogue, see how far it is, read what was found and take it away.

Files go to the same `/v1/audits` as everyone's, streamed by the page's script with the key that is typed; nothing
that a browser sends by itself lets anyone write, so there is nothing to forge.
"""

import json
from typing import Final

from litestar import Response, get
from litestar.params import FromPath

from fitsvc.audits.scorecard import page_of
from fitsvc.audits.spool import SUMMARY
from fitsvc.document import Document
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.audits.folder import BEFORE
from fitsvc.service.audits.private import audit_of, may_see
from fitsvc.service.audits.results import ALONE
from fitsvc.service.audits.suppliers import seen_by
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.store.errors import NotFound
from fitsvc.tongues import later, t

_TABLES: Final = {
    "pairs": later("every item with every rig"),
    "fits": later("what fits, or may, in words for a shop"),
    "claims": later("claims that the rules contradict or that cannot be decided"),
    "claims_checked": later("each claim as it was written, with what it comes to"),
    "others": later("every trailer, adapter and wiring adapter with every rig"),
    "balls": later("every ball with every mount of the catalogue"),
    "rescued": later("adapters that would rescue false claims"),
    "hitched": later("mounts and balls for trailers that are claimed to fit"),
    "carried": later("what items may carry on the rigs that they are claimed to fit"),
    "unclaimed": later("fits that nobody claims"),
    "unclaimed_of_rigs": later("fits that nobody claims, by rig"),
    "bad_rows": later("rows that could not be read"),
    "bad_cells": later("cells that could not be read, of rows that are judged without them"),
    "bad_claims": later("claims that could not be read"),
    "suspicious": later("figures that look wrong"),
    "fits_nothing": later("items not known to fit any rig"),
    "missing_of_items": later("facts of items worth measuring"),
    "missing_of_rigs": later("facts of rigs worth measuring"),
    "rigs_without": later("rigs that nothing of a kind is known to fit"),
    "vehicles_to_tell": later("vehicles of ours that are told too little of for claims about them"),
    "items": later("counts by item"),
    "rigs": later("counts by rig"),
    "changes": later("what is new and lost since the earlier audit"),
    "items_changed": later("items that are gone and new since the earlier audit"),
    "fix_list": later("what is to be mended, the cell that decides most first"),
}
_FORMATS: Final = (("csv", "CSV"), ("jsonl", "JSON Lines"), ("parquet", "Parquet"))
_FILES: Final = (
    (
        "catalogue",
        later("Catalogue"),
        later("CSV, a workbook, JSON Lines or Parquet: a `sku`, a column for each fact, maybe `fits`."),
        True,
    ),
    (
        "claims",
        later("Claims"),
        later("Which `sku` is said to fit which `rig`, where the catalogue does not say it."),
        False,
    ),
    ("rigs", later("Rigs"), later("YAML, JSON Lines or CSV; the rigs that are stored when left out."), False),
    ("mapping", later("Mapping"), later("YAML: what the catalogue's columns are, where they have other names."), False),
)
_STATES: Final = {
    "new": later("not started"),
    "failed": later("failed"),
    "interrupted": later("interrupted"),
    "cancelled": later("cancelled"),
    "queued": later("waiting"),
    "running": later("running"),
    "finished": later("finished"),
}
STAGES: Final = (
    later("reading the rules"),
    later("reading the rigs"),
    later("reading the catalogue"),
    later("judging pairs"),
    later("writing the findings"),
)
"""What an audit is at while it runs, as it tells it itself."""
_MOST_MISSING: Final = 10


@get("/audits", sync_to_thread=True)
def audits(request: AnyRequest) -> Response[str]:
    """List the audits, the newest first, with a form for a new one."""
    service = service_of(request)
    told = [folder.document() for folder in service.audits.listed() if folder.told() and may_see(request, folder)]
    told.sort(key=lambda one: str(one["created_at"]), reverse=True)
    return page(
        request, "audits.html", audits=told, files=_FILES, states=_STATES, most=f"{service.audit_bytes / 1e9:g}"
    )


@get("/audits/scorecard", sync_to_thread=True)
def scorecard(request: AnyRequest) -> Response[str]:
    """Give the suppliers' scorecard, a page by itself as an audit's own."""
    return Response(page_of(seen_by(request)), media_type="text/html", headers=ALONE)


@get("/audits/{key:str}", sync_to_thread=True)
def audit(request: AnyRequest, key: FromPath[str]) -> Response[str]:
    """Give one audit: how far it is, or what was found."""
    try:
        folder = audit_of(request, key)
    except NotFound:
        return not_there(request, t("There is no audit of that name. The page of audits lists all."))
    told = folder.document()
    found = json.loads((folder.out / SUMMARY).read_text("utf-8")) if told["state"] == "finished" else None
    return page(
        request,
        "audit.html",
        audit=told,
        found=found,
        states=_STATES,
        stages={name: sentence(t(name)) for name in STAGES},
        tables=_TABLES,
        formats=_FORMATS,
        missing=_missing(found, service_of(request).answerer.rulebook) if found else [],
        columns=_columns(found, service_of(request).answerer.rulebook) if found else [],
        waits=told["state"] in ("queued", "running"),
        startable=told["state"] in BEFORE,
    )


def _columns(found: Document, rulebook: Rulebook) -> list[tuple[str, str]]:
    """The facts of which the whole column looks wrong: label, and what the column probably is."""
    facts = rulebook.vocabulary.of("accessory")
    return [
        (sentence(facts[name].label) if name in facts else name, guess)
        for name, guess in found["suspicious_columns"].items()
    ]


def _missing(found: Document, rulebook: Rulebook) -> list[tuple[str, str, int, int]]:
    """The facts most worth learning: label, name, pairs and claims that each would decide."""
    facts, told = rulebook.vocabulary.facts, []
    for one in found["missing"][:_MOST_MISSING]:
        name = one["fact"]
        told.append((sentence(facts[name].label) if name in facts else name, name, one["pairs"], one["claims"]))
    return told
