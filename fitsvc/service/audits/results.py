"""/v1/audits/{id}: what a finished audit found, as a summary, a page and tables."""

import re
from typing import Final

from litestar import Response, get
from litestar.params import FromPath
from litestar.response import Stream

from fitsvc.audits.fits import titles_of
from fitsvc.audits.fix_rows import FIX_LIST
from fitsvc.audits.results import TABLES, WORKBOOK, stream, tables_of
from fitsvc.audits.spool import SUMMARY
from fitsvc.service.audits.folder import AuditFolder
from fitsvc.service.audits.private import audit_of
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.problems import problem
from fitsvc.service.queries import Parameter
from fitsvc.service.replies import reply
from fitsvc.store.errors import Conflict
from fitsvc.tongues import t

_MEDIA: Final = {
    "csv": "text/csv",
    "jsonl": "application/x-ndjson",
    "parquet": "application/vnd.apache.parquet",
    WORKBOOK: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
ALONE: Final = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'"
}
_ONE: Final = {"key": "The audit's `id`."}


_SUMMARY: Final = Operation(
    id="get_audit_summary",
    summary="Get an audit's summary",
    about="Pairs by outcome and rule, faults, claims, the facts worth measuring and what changed.",
    tag="Audits",
    gives="AuditSummary",
    path=_ONE,
    errors=(404, 409),
)


@get("/{key:str}/summary", opt=_SUMMARY.opt, sync_to_thread=True)
def summary(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give the summary."""
    query_of(request)
    return reply((_finished(request, key).out / SUMMARY).read_bytes())


_PAGE: Final = Operation(
    id="get_audit_page",
    summary="Get an audit's summary as a page",
    about="One page for people, which loads nothing else.",
    tag="Audits",
    gives="Page",
    media="text/html",
    path=_ONE,
    errors=(404, 409),
)


@get("/{key:str}/page", opt=_PAGE.opt, sync_to_thread=True)
def summary_page(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give the page."""
    query_of(request)
    text = (_finished(request, key).out / "summary.html").read_bytes()
    # On a disk the tables lie beside the page; here each has a route of its own.
    shown = _BESIDE.sub(rb'href="results/\1?format=\2"', text)
    return Response(shown, media_type="text/html", headers=ALONE)


_BESIDE: Final = re.compile(rb'href="([a-z_]+)\.(csv|xlsx)"')
_FORMAT: Final = Parameter(
    "format", "How the table is written.", {"type": "string", "enum": list(_MEDIA), "default": "csv"}, example="csv"
)
_RESULT: Final = Operation(
    id="get_audit_result",
    summary="Get a table of an audit",
    about=(
        "`pairs` has every item with every rig: the outcome, the rules that decide it, whether it was claimed, and the "
        "digest of the rulebook. `fits` has those that fit, or may, in words for a shop. The other tables have what "
        "was found: "
        + ", ".join(f"`{one}`" for one in TABLES[2:])
        + "; `changes` where it was compared with another audit. As a workbook there is `fix_list` alone."
    ),
    tag="Audits",
    gives="Table",
    media=_MEDIA["csv"],
    path=_ONE | {"name": "The table."},
    query=(_FORMAT,),
    errors=(404, 409),
    also=tuple(_MEDIA.values())[1:],
)


@get("/{key:str}/results/{name:str}", opt=_RESULT.opt, sync_to_thread=True)
def result(request: AnyRequest, key: FromPath[str], name: FromPath[str]) -> Stream:
    """Give one table."""
    format = query_of(request)["format"]
    out, titles = _finished(request, key).out, titles_of(service_of(request).answerer.rulebook)
    if name not in tables_of(out):
        listed = ", ".join(f"`{one}`" for one in tables_of(out))
        raise problem(404, t("the audit has no table `{name}`; it has {listed}", name=name[:60], listed=listed))
    if format == WORKBOOK and name != FIX_LIST:
        raise problem(404, t("`{name}` is no workbook: take it as `csv`, `jsonl` or `parquet`", name=name))
    headers = {"Content-Disposition": f'attachment; filename="{key}-{name}.{format}"'}
    return Stream(stream(out, name, format, titles), media_type=_MEDIA[format], headers=headers)


def _finished(request: AnyRequest, key: str) -> AuditFolder:
    folder = audit_of(request, key)
    if (state := folder.state()) != "finished":
        raise Conflict(t("audit `{key}` is `{state}`; there are results once it is finished", key=key, state=state))
    return folder


handlers: Final = (summary, summary_page, result)
"""The routes of results."""
