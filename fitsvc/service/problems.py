"""What went wrong → an RFC 9457 problem document. The only place where errors become responses."""

import logging
from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Final

from litestar.exceptions import HTTPException
from litestar.plugins.problem_details import (
    ProblemDetailsConfig,
    ProblemDetailsException,
    ProblemDetailsPlugin,
)

from fitsvc.document import Document
from fitsvc.files import NO_ROOM
from fitsvc.language.problems import OF_STORE, Problem, ProblemsFound
from fitsvc.service.codes import code_of, type_of
from fitsvc.store import errors as store
from fitsvc.tongues import later, t
from fitsvc.wanted import NotWanted

MEDIA_TYPE: Final = "application/problem+json"
MOST_ERRORS: Final = 100
"""Errors that are listed; `detail` counts the rest."""

_log = logging.getLogger("fitsvc.service")

_STORE: Final[Mapping[type[store.StoreError], tuple[int, str, Mapping[str, str]]]] = {
    store.NotFound: (404, "not-found", {}),
    store.AlreadyExists: (409, "exists", {}),
    store.StillReferenced: (409, "in-use", {}),
    store.Conflict: (409, "in-use", {}),
    store.VersionConflict: (412, "changed", {}),
    store.NotMigrated: (503, "not-migrated", {}),
    store.Unreachable: (503, "database", {"Retry-After": "5"}),
    store.Busy: (503, "database", {"Retry-After": "1"}),
}
_OF_QUERY: Final = ("/after", "/limit")
"""What the store checks that does not stand in a body."""
_DATABASE: Final = later("the database cannot be used now: ask again shortly; the service's log tells the operator why")


def problem(
    status: int,
    detail: str,
    errors: Iterable[Problem] = (),
    headers: Mapping[str, str] | None = None,
    code: str = "",
) -> ProblemDetailsException:
    """Return a problem to raise, with one entry in `errors` for each thing that is wrong.

    Its `code` is one of `codes.CODES`; left out, it is the status's usual one.
    """
    listed = [entry(one) for one in errors]
    return ProblemDetailsException(
        status_code=status,
        title=HTTPStatus(status).phrase,
        detail=detail,
        type_=type_of(code or code_of(status)),
        headers=dict(headers or {}),
        extra={"errors": listed[:MOST_ERRORS]} if listed else None,
    )


def example(found: ProblemsFound) -> Document:
    """Return the document that problems are answered with, for the API's description."""
    told = _problems_found(found)
    extra = told.extra if isinstance(told.extra, dict) else {}
    return {"type": told.type_, "title": told.title, "status": told.status_code, "detail": told.detail, **extra}


def plugin() -> ProblemDetailsPlugin:
    """Return the plugin by which Litestar turns every exception into a problem document."""
    return ProblemDetailsPlugin(
        ProblemDetailsConfig(
            exception_to_problem_detail_map={
                ProblemsFound: _problems_found,
                store.StoreError: _store_error,
                HTTPException: _http_error,
                NotWanted: _not_wanted,
                Exception: _unforeseen,
            }
        )
    )


def wire_pointer(field: str) -> str:
    """Return a place in the store's words as a pointer into the body it came from."""
    if field.startswith("/document"):
        return "/rig" + field.removeprefix("/document")
    return field.removesuffix("_id")


def _problems_found(found: ProblemsFound) -> ProblemDetailsException:
    """A document that cannot be read is a bad request; one that says what cannot be is unprocessable.

    One that would be well if something else were stored is in conflict with that (RFC 9110, 15.5.10): store it, or
    name another, and send it again.
    """
    problems = found.problems
    first, more = problems[0], len(problems) - 1
    rest = t("; and {more} more", more=more) if more else ""
    detail = (f"{first.pointer}: " if first.pointer else "") + first.message + rest
    if all(one.kind in OF_STORE for one in problems):
        return problem(409, detail, problems, code="not-stored")
    return problem(422 if all(one.meaning for one in problems) else 400, detail, problems)


def _store_error(error: store.StoreError) -> ProblemDetailsException:
    if isinstance(error, store.InvalidValue):
        return _problems_found(ProblemsFound(map(_field_problem, error.problems)))
    for kind in type(error).__mro__:
        if kind in _STORE:
            status, code, headers = _STORE[kind]
            if code == "database":  # whoever asks is not told which database it is, and where
                _log.warning("%s", error)
                return problem(status, t(_DATABASE), headers=headers, code=code)
            return problem(status, str(error), headers=headers, code=code)
    return _unforeseen(error)


def _field_problem(one: store.FieldProblem) -> Problem:
    if one.field in _OF_QUERY:
        return Problem(one.message, parameter=one.field[1:], meaning=True)
    return Problem(one.message, pointer=wire_pointer(one.field), meaning=True, kind=one.kind)


def as_problem(error: HTTPException) -> ProblemDetailsException:
    """What was refused as a problem, whoever refused it."""
    return error if isinstance(error, ProblemDetailsException) else _http_error(error)


def _http_error(error: HTTPException) -> ProblemDetailsException:
    """What the framework itself refuses: a path that leads nowhere, a method that is not there."""
    status = error.status_code
    if status == 404:
        detail = t("nothing is served under this path; /openapi.json lists what is")
    elif status == 405:
        detail = t("this path does not take that method; the header `Allow` lists those it takes")
    else:
        detail = error.detail if status < 500 else t("the request could not be handled")
    return problem(status, detail, headers=error.headers)


def _not_wanted(_: NotWanted) -> ProblemDetailsException:
    """Work that was ended since its caller has left, who sees nothing of this."""
    return problem(503, t("the caller left before it was answered"))


def _unforeseen(error: Exception) -> ProblemDetailsException:
    """A fault of the service: the log has all of it, the caller nothing but that it happened."""
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        return problem(
            507, t("the disk of the service is full: nothing of this was kept; try again when there is room")
        )
    _log.error("unforeseen error", exc_info=error)
    return problem(500, t("the service failed on this request; the fault is logged"))


def entry(one: Problem) -> Document:
    """One thing that is wrong, as a problem document lists it."""
    told: Document = {"pointer": one.pointer}
    if one.parameter:
        told = {"parameter": one.parameter}
    elif one.line:
        told = {"line": one.line}
    told |= {"code": one.kind.replace(" ", "-")} if one.kind else {}
    told["detail"] = one.message
    return told | {"help": one.help} if one.help else told
