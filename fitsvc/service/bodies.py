"""Request bodies: bytes → a JSON document, or a problem that says where they are not one."""

import json
import re
from codecs import BOM_UTF8
from collections.abc import Collection, Iterable, Iterator, Mapping
from decimal import Decimal
from math import inf, isinf
from typing import Any, Final

import msgspec
from anyio import to_thread
from litestar.exceptions import HTTPException

from fitsvc.document import Json
from fitsvc.facts import escape
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.service.context import AnyRequest
from fitsvc.service.problems import problem
from fitsvc.tongues import later, t

MOST_MEMBERS: Final = 5_000
"""A question of four things, each with a rig of its own and every fact within bounds, has some 4,000."""
DEEPEST: Final = 20
MOST_DROPPED: Final = 100_000_000
"""Bytes of a body too large that are read and dropped before the connection is."""
_SMALL: Final = 8_000
"""Bytes of a body that is decoded on the event loop: half a millisecond's work, however it is made."""
_LONGEST_NUMBER: Final = 4_300
_NESTED: Final = frozenset({dict, list})

_EARLY: Final = later("it ends too early")
FAULTS: Final = (
    *(later("invalid number"), later("invalid character"), later("invalid escaped character")),
    *(later("invalid escape character in string"), later("invalid character in unicode escape")),
    *(later("unexpected end of hex escape"), later("invalid utf-16 surrogate pair")),
    *(later("expected ',' or ']'"), later("expected ',' or '}'"), later("expected ':'"), later("expected '\"'")),
    *(later("trailing comma in array"), later("trailing comma in object"), later("trailing characters")),
    *(later("object keys must be strings"), later("number out of range")),
)
"""What msgspec finds wrong with JSON, in its own words."""
_PLACE = re.compile(r"(?:JSON is malformed: )?(?P<what>.*?)(?: \(byte (?P<at>\d+)\))?\Z")
_HALF = re.compile("[\ud800-\udfff]")
_TEXT = re.compile(rb'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)


async def read_document(request: AnyRequest) -> Json:
    """Read a request's body as JSON."""
    _require_json(request)
    try:
        raw = await request.body()
    except HTTPException as error:
        if error.status_code == 413:
            limit = request.route_handler.resolve_request_max_body_size() or 0
            await _let_go(request)
            raise problem(413, t("the body is larger than the {limit} kB read here", limit=limit // 1000)) from None
        raise
    # What is wrong with a body is found by walking it, which for a large one takes as long as many small requests.
    return await to_thread.run_sync(decode, raw) if len(raw) > _SMALL else decode(raw)


async def _let_go(request: AnyRequest) -> None:
    """Read what a caller is still sending and drop it; one cut off in the middle sees no answer, but a reset."""
    left = MOST_DROPPED
    while left > 0:
        message: Any = await request.receive()
        left -= len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return


def decode(raw: bytes) -> Json:
    """Decode JSON; ProblemsFound says what and where it is not, or not to be relied on.

    A byte order mark before it is passed over (RFC 8259, 8.1 lets a reader), as it is in a file.
    """
    raw = raw.removeprefix(BOM_UTF8)
    try:
        document = msgspec.json.decode(raw)
    except UnicodeDecodeError:
        raise _not_utf8(raw) from None
    except msgspec.DecodeError as error:
        raise _unkept(raw) or _malformed(raw, str(error)) from None
    except RecursionError:
        raise _too_deep() from None
    members = _members(document)
    if members > MOST_MEMBERS:
        raise _refuse(
            t("the body has {members} members in all", members=members),
            t("at most {most} are read", most=MOST_MEMBERS),
        )
    # Which of two members with one name counts is nowhere laid down, so neither is taken.
    if raw.count(b":") != members and _TEXT.sub(b"", raw).count(b":") != members:
        raise _refuse(t("{name} stands twice in one object", name=_twice(raw)), t("write each name once"))
    return document


def read_object(
    document: Json, known: Collection[str], required: Iterable[str] = (), told: Mapping[str, str] | None = None
) -> list[Problem]:
    """Return what is wrong with a document that should be an object of these members.

    `told` has help for members that are known and have no place here.
    """
    listed = ", ".join(f"`{name}`" for name in known)
    if not isinstance(document, dict):
        raise _refuse(t("the body is not an object"), t("it may have {listed}", listed=listed))
    problems = []
    for name in document:
        if name not in known:
            near = nearest(name, known)
            help = (told or {}).get(name) or (
                t("did you mean `{near}`?", near=near) if near else t("it may have {listed}", listed=listed)
            )
            problems.append(
                Problem(
                    t("`{name}` has no place here", name=name), help, pointer=f"/{escape(name)}", kind="unknown member"
                )
            )
    missing = [name for name in required if document.get(name) is None]
    return problems + [
        Problem(t("`{name}` is missing", name=name), t("write it"), pointer=f"/{name}", kind="missing member")
        for name in missing
    ]


def _require_json(request: AnyRequest) -> None:
    kind, _, parameters = request.headers.get("content-type", "").partition(";")
    charset = parameters.strip().lower().removeprefix("charset=").strip('"')
    if kind.strip().lower() != "application/json" or (
        "charset" in parameters.lower() and charset not in ("utf-8", "utf8")
    ):
        raise problem(415, t("the body must be JSON: send it with the header `Content-Type: application/json`"))
    if request.headers.get("content-encoding", "identity").strip().lower() != "identity":
        raise problem(415, t("the body must not be compressed: send it without `Content-Encoding`"))


def _members(document: Json) -> int:
    """Count the members of all objects in a document, refusing one that is nested too deep."""
    count, level = 0, [document]
    for _ in range(DEEPEST):
        below: list[Json] = []
        for value in level:
            if value.__class__ is dict:
                count += len(value)
                below += [inner for inner in value.values() if inner.__class__ in _NESTED]
            elif value.__class__ is list:
                below += [inner for inner in value if inner.__class__ in _NESTED]
        if not below:
            return count
        level = below
    raise _too_deep()


def _refuse(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help)])


def _too_deep() -> ProblemsFound:
    return _refuse(t("the body is nested too deep"), t("at most {most} levels are read", most=DEEPEST))


def _malformed(raw: bytes, told: str) -> ProblemsFound:
    if not raw.strip():
        return _refuse(t("the body is empty"), t("send a JSON object"))
    found = _PLACE.match(told)
    assert found is not None  # the pattern matches any text
    what = t(_EARLY if "truncated" in told else found["what"][:1].lower() + found["what"][1:])
    where = _line_and_column(raw, int(found["at"])) if found["at"] else ""
    message = t("the body is not JSON: {what} at {where}", what=what, where=where)
    message = message if where else t("the body is not JSON: {what}", what=what)
    return _refuse(message, t("texts stand in double quotes; NaN is no JSON number"))


def _unkept(raw: bytes) -> ProblemsFound | None:
    """Numbers too large for any computer's and halves of characters, at their places; None where neither is there."""

    def read(text: str) -> float:
        return float(text) if len(text) < _LONGEST_NUMBER else inf

    try:
        problems = list(_faults(json.loads(raw, parse_int=read, parse_float=read, parse_constant=Decimal), ""))
    except (ValueError, RecursionError):
        return None
    return ProblemsFound(problems) if problems else None


def _faults(value: Json, pointer: str) -> Iterator[Problem]:
    """What of a value can be written as JSON and not be kept."""
    if isinstance(value, float) and isinf(value):
        yield Problem(t("the number is out of range"), t("check the figure"), pointer=pointer)
    elif isinstance(value, str) and _HALF.search(value):
        help = t(r"write the character itself, or both halves of it, as in `\ud83d\udeb2`")
        yield Problem(t("a text holds half of a surrogate pair, which is no character"), help, pointer=pointer)
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, part in parts:
        if isinstance(name, str) and _HALF.search(name):
            yield from _faults(name, pointer)
        else:
            yield from _faults(part, f"{pointer}/{escape(str(name))}")


def _line_and_column(raw: bytes, at: int) -> str:
    line, column = raw.count(b"\n", 0, at) + 1, at - raw.rfind(b"\n", 0, at)
    return t("line {line}, column {column}", line=line, column=column)


def _not_utf8(raw: bytes) -> ProblemsFound:
    at = 0
    try:
        raw.decode()
    except UnicodeDecodeError as error:
        at = error.start
    return _refuse(t("the body is not UTF-8 at {where}", where=_line_and_column(raw, at)), t("send it as UTF-8"))


def _twice(raw: bytes) -> str:
    seen: list[str] = []

    def note(pairs: list[tuple[str, Json]]) -> None:
        names = [name for name, _ in pairs]
        seen.extend(name for number, name in enumerate(names) if name in names[:number])

    json.loads(raw, object_pairs_hook=note)
    return f"`{seen[0][:60]}`" if seen else t("a name")
