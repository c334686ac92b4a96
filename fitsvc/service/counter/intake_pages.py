"""The pages of taking in: a supplier's file sent, what its columns are drafted, asked and kept, and then audited.

They go without scripts: each step is a form with a key in it. Of a supplier the newest file is kept, and the mapping as
the command `fitsvc intake --into` keeps it.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.datastructures import UploadFile
from litestar.params import FromPath
from litestar.response import Redirect

from fitsvc.audits.intake import mapping_of
from fitsvc.files import locked, written
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.audits.folder import FILES
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.intake_answers import NOTHING_SAID, Answered, TakingIn
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.service.counter.writing import FormSent, sent
from fitsvc.tongues import later, t

PATH: Final = "/intake"
MOST_BYTES: Final = 32_000_000
"""What a browser sends in one go while somebody waits; a larger file is for the command, or the page of audits."""
_PLAIN_TEXT: Final = {"txt": "csv"}
_NOT_KEPT: Final = later("Nothing of that supplier is kept here. Send its file.")


@get("/", sync_to_thread=True)
def start(request: AnyRequest) -> Response[str]:
    """Give the form that takes a file."""
    return _start(request, FormSent({}, ""), ())


@post("/", status_code=200, request_max_body_size=MOST_BYTES)
async def receive(request: AnyRequest) -> Response[str]:
    """Take a file, draft what its columns are, and show that."""
    form = await sent(request, "audit")
    given = (await request.form()).get("file")
    file = given if isinstance(given, UploadFile) else None
    content = await file.read() if file is not None else b""

    def work() -> Response[str]:
        name = Path(file.filename if file is not None else "").suffix.removeprefix(".").casefold()
        ending, supplier = _PLAIN_TEXT.get(name, name), form.fields.get("supplier", "").casefold()
        if problems := [*_key(form), *_supplier(supplier), *_file(content, ending)]:
            return _start(request, form, problems)
        taking = TakingIn(service_of(request), supplier)
        taking.folder.mkdir(parents=True, exist_ok=True)
        with locked(taking.lock):
            newest = taking.folder / f"{supplier}.delivery.{ending}"
            with written(newest) as place:
                place.write_bytes(content)
            for old in taking.deliveries():
                if old != newest:
                    old.unlink()
            try:
                return _columns(request, taking, form, NOTHING_SAID)
            except ProblemsFound as found:
                return _start(request, form, [replace(one, file="", pointer="file") for one in found.problems])

    return await to_thread.run_sync(work)


@get("/{supplier:str}", sync_to_thread=True)
def kept(request: AnyRequest, supplier: FromPath[str]) -> Response[str]:
    """Give what is kept of a supplier."""
    taking = _kept(request, supplier)
    if taking is None:
        return not_there(request, t(_NOT_KEPT))
    with locked(taking.lock):
        return _columns(request, taking, FormSent({}, ""), NOTHING_SAID)


@post("/{supplier:str}", status_code=200)
async def answer(request: AnyRequest, supplier: FromPath[str]) -> Response[str] | Redirect:
    """Keep what was answered, or audit the file by what is kept."""
    form = await sent(request, "audit")

    def work() -> Response[str] | Redirect:
        taking = _kept(request, supplier)
        if taking is None:
            return not_there(request, t(_NOT_KEPT))
        with locked(taking.lock):
            answered = NOTHING_SAID if form.refused else taking.answer(form.fields)
            if form.fields.get("then") == "audit" and not form.refused and not answered.is_open:
                return Redirect(f"/audits/{taking.audit(form.by)}", status_code=303)
            return _columns(request, taking, form, answered)

    return await to_thread.run_sync(work)


def _kept(request: AnyRequest, supplier: str) -> TakingIn | None:
    """What is kept of a supplier; None where there is nothing, or the name is none."""
    if _supplier(supplier):
        return None
    taking = TakingIn(service_of(request), supplier)
    return taking if taking.deliveries() else None


def _key(form: FormSent) -> list[Problem]:
    return [Problem(form.refused, pointer="key")] if form.refused else []


def _supplier(name: str) -> list[Problem]:
    try:
        mapping_of(Path(), name)
    except ProblemsFound as found:
        return [replace(one, pointer="supplier") for one in found.problems]
    return []


def _file(content: bytes, ending: str) -> list[Problem]:
    if content and ending in FILES["catalogue"]:
        return []
    endings = ", ".join(f"`.{one}`" for one in (*FILES["catalogue"], *_PLAIN_TEXT))
    message = t("that is no file that can be taken in") if content else t("no file was chosen, or it is empty")
    return [Problem(message, t("its name ends in one of {endings}", endings=endings), pointer="file")]


def _start(request: AnyRequest, form: FormSent, problems: Sequence[Problem]) -> Response[str]:
    status = form.status if form.refused else 422 if problems else 200
    at = {name: [one for one in problems if one.pointer == name] for name in ("file", "supplier", "key")}
    return page(
        request,
        "intake.html",
        status=status,
        at=at,
        problems=problems,
        supplier=form.fields.get("supplier", ""),
        most=f"{MOST_BYTES / 1e6:g}",
    )


def _columns(request: AnyRequest, taking: TakingIn, form: FormSent, answered: Answered) -> Response[str]:
    """The page of what is kept, with what was typed where that is not kept."""
    shown = taking.shown(form.fields, answered)
    problems = [*_key(form), *answered.problems]
    status = form.status if form.refused else 422 if answered.is_open else 200
    return page(request, "intake_columns.html", status=status, told=shown, problems=problems, at_key=_key(form))


def router() -> Router:
    """Return the routes of taking in."""
    return Router(PATH, route_handlers=[start, receive, kept, answer])
