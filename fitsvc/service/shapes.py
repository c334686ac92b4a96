"""JSON Schemas of what the API takes and gives, beside the vocabulary's: records, rigs, observations, problems."""

from collections.abc import Mapping
from typing import Any, Final

import msgspec

from fitsvc.answers.answer import Answer
from fitsvc.planning.plan import Plan
from fitsvc.planning.reading import LONGEST_NAME, MOST_PARTS, MOST_WISHES
from fitsvc.rulebook.vocabulary import EFFORTS, PRESENCES, Vocabulary
from fitsvc.selection.selector import Selection
from fitsvc.service.audits.shapes import audits
from fitsvc.service.documents import KINDS, RecordKind
from fitsvc.service.observations import SUBJECTS
from fitsvc.service.schema import NO_NUL, Schema, facts_name, nullable, reference, schemas
from fitsvc.store.tables import KEY, LABEL, NAME, NOTE
from fitsvc.store.validation import PREFIXES
from fitsvc.subjects import SOLD

_TEXT: Final[Schema] = {"type": "string"}
_TIME: Final[Schema] = {"type": "string", "format": "date-time"}
_VERSION: Final[Schema] = {"type": "integer", "minimum": 1}
_STRINGS: Final[Schema] = {"type": "array", "items": _TEXT}
_KINDS: Final = ("published", "measured", "assumed")
_ID: Final = {one: rf"^{prefix}[A-Za-z0-9_-]{{1,60}}$" for one, prefix in PREFIXES.items()}
_SKU: Final[Schema] = {
    "type": "string", "minLength": 1, "maxLength": KEY, "examples": ["DRY-RACK-4"],
    "pattern": r"^(?!\.{1,2}$)[^\s/\u0000](?:[^/\u0000]*[^\s/\u0000])?$",
}  # fmt: skip


def components(vocabulary: Vocabulary) -> dict[str, Schema]:
    """Return every schema of the API."""
    _, answers = msgspec.json.schema_components([Answer, Plan, Selection], ref_template="#/components/schemas/{name}")
    found = dict(sorted(answers.items())) | schemas(vocabulary) | _wishes() | _selection()
    found |= audits(vocabulary) | _shared() | _rigs() | _observations() | _knowledge()
    for kind in KINDS:
        found |= _records(kind)
    return found


def title(name: str) -> str:
    """Return a name as components are named."""
    return name[:1].upper() + name[1:]


def _object(properties: Mapping[str, Schema], required: Any = None, about: str = "") -> Schema:
    """Return an object of just these properties, all of them required unless told otherwise."""
    schema: Schema = {"type": "object", "additionalProperties": False, "properties": dict(properties),
                      "required": list(properties if required is None else required)}  # fmt: skip
    return {"description": about, **schema} if about else schema


def _list(one: Schema) -> Schema:
    return _object({"items": {"type": "array", "items": one}})


def _page(of: str) -> Schema:
    after = {"type": ["string", "null"], "description": "What to give as `after` for the next page; null at the end."}
    return _object({"items": {"type": "array", "items": reference(of)}, "next": after})


def _short(longest: int) -> Schema:
    return {"type": "string", "maxLength": longest, "pattern": NO_NUL}


def _shared() -> dict[str, Schema]:
    entry = _object(
        {
            "pointer": {"type": "string", "description": "JSON pointer (RFC 6901) into the body; empty for all of it."},
            "detail": _TEXT,
            "help": {"type": "string", "description": "What to write instead."},
        },
        ["pointer", "detail"],
    )
    about = "A problem document (RFC 9457); `errors` has everything that is to be put right."
    problem = {"type": {"type": "string", "format": "uri-reference"}, "title": _TEXT, "status": {"type": "integer"},
               "detail": _TEXT, "errors": {"type": "array", "items": entry}}  # fmt: skip
    stored = {"type": "object", "description": "Facts as they were told, by name.",
              "additionalProperties": {"type": ["string", "number", "boolean", "array", "object"]}}  # fmt: skip
    how = _object({"kind": {"type": "string", "enum": list(_KINDS)}, "observation": _TEXT})
    return {
        "Problem": _object(problem, ["type", "title", "status", "detail"], about),
        "StoredFacts": stored,
        "Provenance": {"type": "object", "description": "For each fact how it is known, and from which observation.",
                       "additionalProperties": how},
        "Told": _object(_told("published"), [], "How the facts come to be known."),
        "Health": _object({"status": {"type": "string", "enum": ["live", "ready"]}, "rulebook": _TEXT}),
        "Metrics": {"type": "string"},
        "Description": {"type": "object", "description": "This document."},
    }  # fmt: skip


def _told(default: str) -> dict[str, Schema]:
    return {
        "kind": nullable({"type": "string", "enum": list(_KINDS), "description": f"`{default}` if left out."}),
        "by": nullable(_short(NAME) | {"description": "Who told it; the API key's name if left out."}),
        "at": nullable(_TIME | {"description": "When, with its zone; now if left out.",
                                "examples": ["2026-03-02T09:30:00Z"]}),
        "note": nullable(_short(NOTE)),
    }  # fmt: skip


def _records(kind: RecordKind) -> dict[str, Schema]:
    one, key = title(kind.subject), kind.key
    held: dict[str, Schema] = {key: _TEXT}
    if kind.subject == "accessory":
        held["subject"] = {"type": "string", "enum": list(SOLD)}
    held |= dict.fromkeys(kind.links, _TEXT)
    held |= {"label": _TEXT, "facts": reference("StoredFacts"), "provenance": reference("Provenance"),
             "version": _VERSION, "created_at": _TIME, "updated_at": _TIME}  # fmt: skip
    return {
        one: _object(held), title(kind.many): _page(one),
        f"New{one}": _draft(kind, new=True), f"{one}State": _draft(kind, new=False),
    }  # fmt: skip


def _draft(kind: RecordKind, *, new: bool) -> Schema:
    """Return the body for a record; what an accessory is sold as decides which facts it has."""
    if kind.subject != "accessory":
        return _variant(kind, kind.subject, new)
    variants = [_variant(kind, sold_as, new) for sold_as in SOLD]
    return {"oneOf": variants}


def _variant(kind: RecordKind, subject: str, new: bool) -> Schema:
    sku = kind.key == "sku"
    key = _SKU if sku else {"type": "string", "pattern": _ID[kind.subject], "description": "Made if left out."}
    properties: dict[str, Schema] = {kind.key: key if new and sku else nullable(key)} if new else {}
    if sku:
        properties["subject"] = {"const": subject}
    properties |= {link: {"type": "string", "pattern": _ID[link]} for link in kind.links}
    properties |= {"label": nullable(_short(LABEL)), "facts": nullable(reference(facts_name(subject))),
                   "told": nullable(reference("Told"))}  # fmt: skip
    required = [name for name in (kind.key, "subject") if sku and name in properties]
    return _object(properties, [*required, *kind.links])


def _rigs() -> dict[str, Schema]:
    name = {"type": "string", "minLength": 1, "maxLength": LABEL, "pattern": r"^[^\u0000]*[^\s\u0000][^\u0000]*$"}
    state = {"name": name, "rig": reference("Rig")}
    held = {"id": _TEXT, "name": _TEXT, "rig": reference("Rig"), "version": _VERSION}
    held |= {"created_at": _TIME, "updated_at": _TIME}
    key = nullable({"type": "string", "pattern": _ID["rig"], "description": "Made if left out."})
    return {
        "SavedRig": _object(held), "SavedRigs": _page("SavedRig"),
        "NewRig": _object({"id": key, **state}, state), "RigState": _object(state),
    }  # fmt: skip


def _wishes() -> dict[str, Schema]:
    """Return the body of a plan; what a wish must have beside its form is judged, so null is the same as left out."""
    name: Schema = {
        "type": "string",
        "minLength": 1,
        "maxLength": LONGEST_NAME,
        "description": "What to call the wish.",
    }
    wish = {"name": nullable(name), "kind": reference("AccessoryKindChoice"),
            "load": nullable(reference("LoadPart")), "trailer": nullable(reference("TrailerPart"))}  # fmt: skip
    wishes: Schema = {"type": "array", "minItems": 1, "maxItems": MOST_WISHES, "items": reference("Wish")}
    most: Schema = {"type": "integer", "minimum": 1, "maximum": MOST_PARTS,
                    "description": "How many parts may be bought, the receiver counted."}  # fmt: skip
    about = "What a receiver is to be chosen for: the vehicle by its `id`, or a rig whose receiver is there already."
    return {
        "Wish": _object(wish, [], "A question with the accessory left open: `kind` is that of what is to serve it, and "
                        "may be left out where bikes, cargo or a trailer say it. Wishes are served one at a time."),
        "Wishes": _object({"rig": nullable(reference("Rig")), "wishes": wishes, "parts_at_most": nullable(most)},
                          ["wishes"], about),
    }  # fmt: skip


def _selection() -> dict[str, Schema]:
    parts = {name: nullable(reference(f"{title(name)}Part")) for name in ("load", "ball", "trailer")}
    about = "A question without its accessory: each of the store's is asked about."
    return {"SelectionQuestion": _object({"rig": reference("Rig"), **parts}, ["rig"], about)}


def _observations() -> dict[str, Schema]:
    subject: Schema = {"type": "string", "enum": list(SUBJECTS)}
    held = {"id": _TEXT, "subject": subject, "record": _TEXT,
            "facts": {"type": "object", "description": "Null takes a fact back.", "additionalProperties": True},
            "kind": {"type": "string", "enum": list(_KINDS)}, "by": _TEXT, "at": _TIME, "note": _TEXT,
            "recorded_at": _TIME,
            "evidence": {"type": ["object", "null"], "additionalProperties": True,
                         "description": "What was said, where the facts are a conclusion from it."}}  # fmt: skip
    record = {"anyOf": [reference(title(kind.subject)) for kind in KINDS]}
    observed = {"observation": reference("Observation"), "record": record,
                "contradictions": {"type": "array", "items": reference("Contradiction")},
                "rigs": reference("RigsChanged")}  # fmt: skip
    return {
        "Observation": _object(held), "Observations": _page("Observation"), "Observed": _object(observed),
        "Contradiction": _contradiction(), "RigsChanged": _rigs_changed(),
        "NewObservation": {"oneOf": [body for kind in KINDS for body in _told_of(kind)]},
    }  # fmt: skip


def _contradiction() -> Schema:
    kind: Schema = {"type": "string", "enum": list(_KINDS)}
    said = {"fact": _TEXT, "value": {"description": "As it was told."}, "kind": kind, "by": _TEXT, "at": _TIME,
            "observation": _TEXT}  # fmt: skip
    return _object({"fact": _TEXT, "because": _TEXT, "said": {"type": "array", "items": _object(said)}}, None,
                   "Statements that cannot all hold, the newest last; all of them stay in the log.")  # fmt: skip


def _rigs_changed() -> Schema:
    count: Schema = {"type": "integer", "minimum": 0}
    outcome: Schema = {"type": "string", "enum": ["works", "conditional", "undetermined", "fails"]}
    counts: Schema = {"type": "object", "additionalProperties": count,
                      "description": "How many accessories come to each outcome."}  # fmt: skip
    sku = {"type": "string", "description": "Empty for the rig with the spare and adapters it has."}
    one = _object({"sku": sku, "before": outcome, "after": outcome})
    rig = _object({"rig": _TEXT, "name": _TEXT, "before": counts, "after": counts, "count": count,
                   "changed": {"type": "array", "items": one}})  # fmt: skip
    return _object({"changed": {"type": "array", "items": rig}, "judged": count, "left_off": count,
                    "accessories_left_off": count})  # fmt: skip


def _told_of(kind: RecordKind) -> list[Schema]:
    """Return the bodies for an observation of a kind of record: facts, or of a mounting evidence with or without."""
    subjects = SOLD if kind.subject == "accessory" else (kind.subject,)
    facts: list[Schema] = [reference(facts_name(subject)) for subject in subjects]
    record: Schema = {"type": "string", "minLength": 1, "description": f"The {kind.subject}'s `{kind.key}`."}
    properties = {"subject": {"const": kind.subject}, "record": record,
                  "facts": facts[0] if len(facts) == 1 else {"anyOf": facts}}  # fmt: skip
    plain = _object(properties | _told("measured"), properties)
    if kind.subject != "mounting":
        return [plain]
    evidence = _object({"tyre": {"allOf": [reference("Tyre"), _TEXT]}, "stowed": {"type": "boolean"}}, None,
                       "Whether a spare stowed with this receiver, rubbing or not.")  # fmt: skip
    evident = properties | {"evidence": evidence, "facts": nullable(properties["facts"])} | _told("measured")
    return [plain, _object(evident, ["subject", "record", "evidence"])]


def _knowledge() -> dict[str, Schema]:
    counts: Schema = {"type": "object", "additionalProperties": {"type": "integer", "minimum": 0}}
    texts: Schema = {"type": "object", "additionalProperties": _TEXT}
    source = _object({"kind": _TEXT, "cite": _TEXT, "because": _TEXT}, ["kind"])
    severity, unknown = ["blocking", "caution"], ["undetermined", "caution"]
    rule = dict.fromkeys(("id", "topic", "title", "applies_when", "requires"), _TEXT)
    rule |= {"severity": {"type": "string", "enum": severity}, "if_unknown": {"type": "string", "enum": unknown},
             "subjects": _STRINGS, "limit": _TEXT, "remedy": _TEXT, "source": source}  # fmt: skip
    book = {"name": _TEXT, "digest": _TEXT, "topics": texts, "counts": counts}
    return {
        "Rulebook": _object(book), "Rulebooks": _list(reference("Rulebook")),
        "Rule": _object(rule), "Rules": _list(reference("Rule")), "Vocabulary": _vocabulary(),
    }  # fmt: skip


def _vocabulary() -> Schema:
    presence: Schema = {"type": "string", "enum": list(PRESENCES)}
    subject = _object({"name": _TEXT, "title": _TEXT, "presence": presence})
    member = _object({"name": _TEXT, "words": _TEXT})
    words: Schema = {"type": "string", "enum": ["sizes", "words"]}
    listed = _object({"name": _TEXT, "kind": words, "members": {"type": "array", "items": member}})
    span: Schema = {"type": ["array", "null"], "items": _TEXT, "minItems": 2, "maxItems": 2}
    fact = dict.fromkeys(("name", "type", "label", "shown_in", "meaning", "how_to_measure"), _TEXT)
    fact |= {"range": span, "effort": {"type": "string", "enum": list(EFFORTS)}}
    parts = {"subjects": subject, "lists": listed, "facts": _object(fact)}
    return _object({name: {"type": "array", "items": one} for name, one in parts.items()})
