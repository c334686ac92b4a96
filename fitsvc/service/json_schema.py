"""The forms that the API's JSON Schemas are put together from."""

from collections.abc import Iterable, Sequence
from typing import Final

from fitsvc.document import Document, Json

Schema = Document

NO_NUL: Final = r"^[^\u0000]*$"
"""The pattern of a text that every database keeps."""
TEXT: Final[Schema] = {"type": "string"}
TIME: Final[Schema] = {"type": "string", "format": "date-time"}
COUNT: Final[Schema] = {"type": "integer", "minimum": 0}
COUNTS: Final[Schema] = {"type": "object", "additionalProperties": COUNT}
ANY: Final[Schema] = {"type": "object", "additionalProperties": True}
NULL: Final[Schema] = {"type": "null"}


def text(about: str = "", /, **limits: Json) -> Schema:
    """Return a text within limits, each under the schema's own name for it: `maxLength`, `pattern`."""
    return described(TEXT | limits, about)


def short(longest: int) -> Schema:
    """Return a text of so many characters at most."""
    return text(maxLength=longest, pattern=NO_NUL)


def word(members: Iterable[str], about: str = "") -> Schema:
    """Return one of a few words."""
    return text(about, enum=list(members))


def array(items: Schema, about: str = "", /, **limits: Json) -> Schema:
    """Return a list of items of one kind."""
    return described({"type": "array", "items": items, **limits}, about)


def closed(required: Sequence[str] | None = None, about: str = "", /, **properties: Schema) -> Schema:
    """Return an object of just these properties, all of them required unless some are named."""
    names = list(properties if required is None else required)
    schema = {"type": "object", "additionalProperties": False, "properties": properties, "required": names}
    return described(schema, about)


def parts(about: str = "", /, **properties: Schema) -> Schema:
    """Return an object of none but these properties, any of which may be left out."""
    schema = {"type": "object", "additionalProperties": False, "properties": properties}
    return described(schema, about)


def page(items: Schema) -> Schema:
    """Return a page of things, with where the next one begins."""
    after = {"type": ["string", "null"], "description": "What to give as `after` for the next page; null at the end."}
    return closed(items=array(items), next=after)


def described(schema: Schema, about: str) -> Schema:
    """Return a schema with a description, if there is one."""
    return {"description": about, **schema} if about else schema


def nullable(schema: Schema) -> Schema:
    """Return a schema that also takes null, which is the same as leaving out."""
    return {"anyOf": [schema, NULL]}


def reference(name: str) -> Schema:
    """Return a reference to a component."""
    return {"$ref": f"#/components/schemas/{name}"}
