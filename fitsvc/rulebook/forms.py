"""How an entry of a rule file is written, declared once: the loader holds entries to it, and editors by a JSON Schema.

What may stand under a key is said as JSON Schema says it, since that alone reads it; the loader says of what is wrong
there, in its own words, more than a schema can.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

Kind: TypeAlias = Mapping[str, Any]
"""A part of a JSON Schema."""

TEXT: Final[Kind] = {"type": ["string", "number", "boolean"]}
"""Any text; what other readers of YAML take for a number, or for a yes or no, is one as well."""
EXPRESSION: Final[Kind] = {**TEXT, "description": "an expression of the rule language"}
QUANTITY: Final[Kind] = {**TEXT, "description": "a figure with its unit"}
ANY: Final[Kind] = {}
_TAKEN_FOR: Final[Mapping[str, object]] = {"yes": True, "no": False, "true": True, "false": False}


def one_of(*words: str) -> Kind:
    """One of some words."""
    return {"enum": [*words, *dict.fromkeys(_TAKEN_FOR[one] for one in words if one in _TAKEN_FOR)]}


YES_NO: Final = one_of("yes", "no")


def named(what: str) -> Kind:
    """The name of something that the rulebook has: a `fact`, a `list`, a `subject`, a `rule`."""
    return {"$ref": f"#/$defs/{what}"}


def many(kind: Kind, **bounds: int) -> Kind:
    """A list of something."""
    return {"type": "array", "items": kind, **bounds}


def by_name(kind: Kind, names: Kind | None = None) -> Kind:
    """Something by names, which the author chooses unless they are of a kind too."""
    return {"type": "object", "additionalProperties": kind, **({"propertyNames": names} if names else {})}


def either(*kinds: Kind) -> Kind:
    """Any of some kinds."""
    return {"anyOf": [*kinds]}


@dataclass(frozen=True, slots=True)
class Form:
    """An entry written as `key: value` lines: what it is called, the keys that it must have and those it may have.

    `free` is what stands under keys of the author's own, where there are such; else no others may be there.
    """

    what: str
    required: Mapping[str, Kind]
    optional: Mapping[str, Kind] = field(default_factory=dict)
    free: Kind | None = None

    @property
    def kind(self) -> Kind:
        """The entry as a part of a schema."""
        found: dict[str, Any] = {"title": self.what, "type": "object", "properties": {**self.required, **self.optional}}
        found |= {"required": [*self.required]} if self.required else {}
        return {**found, "additionalProperties": False if self.free is None else self.free}


def briefly(kind: Kind) -> str:
    """How something of a kind is written, as far as a line tells it: the words it may be, the keys it must have."""
    if words := [str(one) for one in kind.get("enum", ()) if isinstance(one, str)]:
        return " | ".join(words)
    if needed := kind.get("required"):
        return "{" + ", ".join(f"{key}: {briefly(kind['properties'][key])}" for key in needed) + "}"
    return "[...]" if kind.get("type") == "array" else "..."


def if_has(key: str, then: Kind, otherwise: Kind) -> Kind:
    """What an entry is by whether it has a key, so that what is wrong in it is told of one kind alone."""
    return {"if": {"type": "object", "required": [key]}, "then": then, "else": otherwise}


def keys_of(*forms: Form) -> Iterable[str]:
    """All keys of some forms."""
    return dict.fromkeys(key for form in forms for key in (*form.required, *form.optional))
