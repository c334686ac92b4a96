"""JSON Schemas of audits."""

from typing import Any, Final

from fitsvc.audits.results import TABLES
from fitsvc.audits.rigs import CARRIED
from fitsvc.engine.columns.kernel import OUTCOMES
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.service.audits.folder import FILES, FORMATS, STATES
from fitsvc.service.schema import NO_NUL, Schema, facts_name, nullable, reference
from fitsvc.store.tables import LABEL

_TEXT: Final[Schema] = {"type": "string"}
_COUNT: Final[Schema] = {"type": "integer", "minimum": 0}
_COUNTS: Final[Schema] = {"type": "object", "additionalProperties": _COUNT}
_ANY: Final[Schema] = {"type": "object", "additionalProperties": True}
_LIST: Final[Schema] = {"type": "array", "items": _ANY}


def audits(vocabulary: Vocabulary) -> dict[str, Schema]:
    """Return the schemas of what the routes of audits take and give."""
    key: Schema = {"type": "string", "pattern": "^aud_[A-Za-z0-9_-]{1,60}$"}
    name: Schema = {"type": "string", "maxLength": LABEL, "pattern": NO_NUL}
    carried = {
        name: nullable(_object({"facts": reference(facts_name(name))})) for name in CARRIED
        if name in vocabulary.subjects
    }  # fmt: skip
    new = {"id": nullable(key | {"description": "Made if left out."}), "name": nullable(name),
           "against": nullable(key | {"description": "A finished audit to compare with."}), **carried}  # fmt: skip
    after = {"type": ["string", "null"], "description": "What to give as `after` for the next page; null at the end."}
    return {
        "NewAudit": _object(new, []), "Audit": _audit(), "AuditSummary": _summary(),
        "Audits": _object({"items": {"type": "array", "items": reference("Audit")}, "next": after}),
        "Table": {"type": "string", "description": "Rows by the columns that the header names."},
        "Page": {"type": "string"},
    }  # fmt: skip


def _audit() -> Schema:
    format: Schema = {"type": "string", "enum": sorted(set(FORMATS.values()))}
    file = _object({"name": {"type": "string", "enum": list(FILES)}, "format": format, "bytes": _COUNT,
                    "sha256": _TEXT})  # fmt: skip
    total: Schema = {"type": ["integer", "null"], "description": "Null where it is not known."}
    left: Schema = {"type": ["integer", "null"], "description": "Seconds until the stage is done, at this pace."}
    progress = _object({"stage": _TEXT, "done": _COUNT, "total": total, "seconds_left": left})
    problem = _object({"detail": _TEXT, "help": _TEXT, "file": _TEXT, "line": _COUNT, "column": _TEXT}, ["detail"])
    about = (
        "`new` until it is started; then `queued`, `running`, and `finished`, `failed` (its files are not right), "
        "`interrupted` (by a fault of the service: started again, it goes on) or `cancelled`."
    )
    return _object({
        "id": _TEXT, "name": _TEXT, "state": {"type": "string", "enum": list(STATES), "description": about},
        "created_at": {"type": "string", "format": "date-time"}, "created_by": _TEXT,
        "against": {"type": ["string", "null"]}, "asked": _ANY | {"description": "What every rig carries or tows."},
        "files": {"type": "array", "items": file}, "progress": nullable(progress),
        "problems": {"type": "array", "items": problem},
        "results": {"type": "array", "items": {"type": "string", "enum": list(TABLES)}},
    })  # fmt: skip


def _summary() -> Schema:
    claims = _ANY | {"description": "Claims by outcome, by the rules that contradict them, and fits not claimed."}
    missing = _object({"fact": _TEXT, "pairs": _COUNT, "claims": _COUNT, "items": _COUNT, "rigs": _COUNT},
                      ["fact", "pairs", "claims"], "A fact that alone would decide so many pairs, on so many items or "
                      "rigs.")  # fmt: skip
    return _object({
        "run": _ANY | {"description": "Digests of all that the results follow from."},
        "rulebook": _object({"name": _TEXT, "digest": _TEXT}), "rows": _ANY, "rigs": _COUNT, "pairs": _COUNT,
        "outcomes": _object(dict.fromkeys(OUTCOMES, _COUNT)), "faults": _COUNTS, "claims": nullable(claims),
        "missing": {"type": "array", "items": missing}, "fits_nothing": _COUNT, "rigs_without": _COUNTS,
        "suspicious": _COUNTS, "rules": _LIST, "changes": nullable(_ANY),
    })  # fmt: skip


def _object(properties: dict[str, Schema], required: Any = None, about: str = "") -> Schema:
    schema: Schema = {"type": "object", "additionalProperties": False, "properties": properties,
                      "required": list(properties if required is None else required)}  # fmt: skip
    return {"description": about, **schema} if about else schema
