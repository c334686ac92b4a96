"""What no schema of a request can say, so that a well-formed one may be refused for it: told apart, not passed over.

A tool that makes requests from the API's description takes each of them to be accepted, or to name what is not there
(404) or not stored (409). Beside that there are these, and no others:

- 412: a version in `If-Match` has to be the stored one's (RFC 9110, 13.1.1), and `If-None-Match: *` finds nothing.
- 428: a `PUT` needs one of these two headers (RFC 6585, 3); OpenAPI cannot say of two parameters that one is needed.
- 422 with these codes: `implausible`, a figure in any of a dozen units and forms is beyond its `x-range`, or a time
  beyond today, which a schema of texts cannot compare, or a time zone that the system has not; `contradiction`, two of
  what is told cannot both hold;
  `unprintable`, a SKU of characters that nobody sees or that look like others, whose pattern would be of 826 ranges;
  `not-given`, a cursor that no page ended with, or no kind of a wish that bikes, cargo or a trailer do not say, or say
  two at once: its forms overlap, and makers of clients refuse them; and a key for one request that came with another.
- 400 of files: a catalogue's rows are read at once, and the tool makes empty files of a schema with a `minLength`.
"""

from collections.abc import Iterable
from typing import Any, Final

CODES: Final = frozenset({"implausible", "contradiction", "unprintable", "not-given"})
REPEATED: Final = "/problems/repeated"
CATALOGUE: Final = "/v1/catalogue"


def unsaid(status: int, problem: Any, method: str, path: str, headers: Iterable[str], body: Any) -> str:
    """Return why no schema could say that a request is refused, as it was; nothing where one could."""
    conditions = {"if-match", "if-none-match"} & {name.lower() for name in headers}
    errors, codes = problem.get("errors", []), {one.get("code", "") for one in problem.get("errors", [])}
    if status == 412 and conditions:
        return "the version"
    if status == 428 and method == "PUT" and not conditions:
        return "one of two headers"
    if status == 422 and problem.get("type") == REPEATED:
        return "a key used before"
    if status == 422 and errors and codes <= CODES | OF_STORE:
        return " and ".join(sorted(codes & CODES))
    if status in (400, 422) and (path == CATALOGUE or ("/files/" in path and not body)):
        return "a file"
    return ""


OF_STORE: Final = frozenset({"missing-record", "other-record", "several-records"})
"""By themselves they are 409; beside what cannot be they are told with it."""
