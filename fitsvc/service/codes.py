"""The codes of problems and of the errors that they list: each has a page, and stays what it is between releases."""

from typing import Final

CODES: Final[dict[str, tuple[str, str]]] = {
    "unreadable": ("The request cannot be read.", "Mend what `errors` lists; each has its place and what to write."),
    "impossible": ("What the request says cannot be.", "It is well formed. `errors` tells what of it cannot be so."),
    "ambiguous-end": (
        "A request has both `Content-Length` and `Transfer-Encoding`.",
        "Something between you and the service writes one of the two: send one.",
    ),
    "key-missing": ("A key is needed.", "Send it in `X-API-Key`."),
    "key-unknown": ("The key is unknown, revoked or has expired.", "Ask the service's operator for another."),
    "not-allowed": ("The key may not do this.", "Ask the service's operator for a key with the scope that is named."),
    "not-found": ("There is no such thing.", "Check the id or SKU, or the path: `/openapi.json` lists what is served."),
    "no-such-method": ("The path does not take that method.", "`Allow` lists those it takes."),
    "exists": ("What is to be made is there already.", "Change it, or give another id or SKU."),
    "not-stored": (
        "The request names what is not stored, or not as it says.",
        "Store it first, or name another: `errors` has each place.",
    ),
    "in-use": ("Something stored stands in the way.", "`detail` names what it is."),
    "changed": ("It was changed since it was read.", "Read it again and repeat the change."),
    "condition-missing": ("A change needs a condition.", "Send `If-Match` with the `ETag` you read."),
    "too-large": ("The body is too large.", "Send less at a time."),
    "media-type": ("The body is not sent as what it has to be.", "`detail` tells which `Content-Type` is read here."),
    "too-slow": ("The body did not come in time.", "Send it in one go."),
    "wrong-host": ("The service does not go by that name.", "Its operator lists names with `--trusted-host`."),
    "too-many": ("You ask more than your share.", "Ask again after `Retry-After` seconds."),
    "busy": ("More is asked than can be answered now.", "Ask again after `Retry-After` seconds: nothing was done."),
    "database": ("The database cannot be used now.", "Ask again after `Retry-After` seconds: nothing was done."),
    "not-migrated": ("The database's tables are of another version.", "The operator runs `fitsvc db upgrade`."),
    "disk-full": ("The disk of the service is full.", "Nothing of the request was kept; the operator makes room."),
    "repeated": (
        "The idempotency key came with another request before.",
        "Use a key for one request, and the same body whenever it is repeated.",
    ),
    "not-reloaded": (
        "The rules as they stand now cannot be served.",
        "Mend what `detail` names, and have them read again: what answered before goes on.",
    ),
    "failed": ("The service failed.", "Its log says how, under the `X-Request-Id` of the reply."),
}
"""By code what it means, and what to do; a problem's `type` is the address of its page."""

OF_ERRORS: Final[dict[str, tuple[str, str]]] = {
    "no-unit": ("A figure has no unit, and could be more than one.", "Write its unit behind it, as in `2 in`."),
    "unknown-fact": ("There is no fact of that name.", "`/v1/vocabulary` lists all; `help` names one that is near."),
    "unknown-member": ("Nothing reads a member of that name.", "Leave it out, or spell it as `help` does."),
    "missing-member": ("Something that has to be told is not there.", "Add the member that is named."),
    "implausible": (
        "A figure, or a time, is beyond what there is.",
        "Look at its unit and its point; the description has what can be, under `x-range`.",
    ),
    "contradiction": ("Two of what is told cannot both hold.", "Put right the one that is wrong, or leave it out."),
    "unprintable": (
        "A SKU has characters that cannot be seen or told apart.",
        "Write it as it is printed, in characters that show.",
    ),
    "not-given": (
        "What is sent has to come from the service, or to be said, and was not.",
        "Of a page take its `next`; of a wish say what is to serve it.",
    ),
    "missing-record": ("It names what is not stored.", "Store it first, or name another."),
    "other-record": ("What it names is stored as something else.", "Name one that is sold as what is asked for."),
    "several-records": ("What is told goes by more than one stored record.", "Tell more, or name one by its id."),
}
"""The same of what stands in `errors`, where a program may act on it; others are for people and have none."""

PATH: Final = "/problems/"
_OF_STATUS: Final = {
    400: "unreadable",
    401: "key-unknown",
    403: "not-allowed",
    404: "not-found",
    405: "no-such-method",
    408: "too-slow",
    409: "in-use",
    412: "changed",
    413: "too-large",
    415: "media-type",
    421: "wrong-host",
    422: "impossible",
    428: "condition-missing",
    429: "too-many",
    503: "busy",
    507: "disk-full",
}


def code_of(status: int) -> str:
    """Return the code of a problem that has none of its own."""
    return _OF_STATUS.get(status, "unreadable" if status < 500 else "failed")


def type_of(code: str) -> str:
    """Return a code's address, as a problem's `type`."""
    assert code in CODES, code
    return PATH + code
