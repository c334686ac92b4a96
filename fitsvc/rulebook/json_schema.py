"""JSON Schemas of rule files, for editors: from the forms that the loader holds files to, with a rulebook's own names.

So an editor refuses a key, a word, a fact or a member that is none as it is typed, and offers those that are. What a
schema cannot say, as whether an expression has a meaning, `fitsvc rules check` tells.
"""

from collections.abc import Iterable, Mapping
from fnmatch import fnmatchcase
from typing import Any, Final

from fitsvc.language.display import DISPLAY_UNITS
from fitsvc.rulebook.folder import HAZARDS, OVERLAY, TONGUES, WORDS
from fitsvc.rulebook.forms import TEXT, Form, Kind, by_name, if_has
from fitsvc.rulebook.hazards import HAZARDS_FILE
from fitsvc.rulebook.overlay import OVERLAY_FILE
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.sections import ADAPTERS_FILE, TOP, TOPIC
from fitsvc.rulebook.signing import SIGNED, SIGNED_FILE
from fitsvc.rulebook.sources import SOURCES, SOURCES_FILE
from fitsvc.rulebook.tables import TABLES_FILE
from fitsvc.rulebook.tongue_files import SECTIONS
from fitsvc.rulebook.viewing import DRAWING_FILE, FILE
from fitsvc.rulebook.vocabulary import FACT_TYPES, LISTS_FILE, SUBJECT_FILE, VALUE_TYPES
from fitsvc.rulebook.words import WORDS_FILE
from fitsvc.subjects import KIND

DIALECT: Final = "http://json-schema.org/draft-07/schema#"
"""The dialect that editors of YAML know best."""
_TONGUE: Final = Form("words in another language", {}, dict.fromkeys(SECTIONS, by_name(TEXT)))
FILES: Final[Mapping[str, tuple[str, Kind]]] = {
    "rulebook": ("rulebook.yaml", TOP.kind),
    "overlay": (OVERLAY, OVERLAY_FILE.kind),
    "adapters": ("adapters.yaml", ADAPTERS_FILE.kind),
    "drawing": (FILE, DRAWING_FILE.kind),
    "hazards": (HAZARDS, HAZARDS_FILE.kind),
    "sources": (SOURCES, SOURCES_FILE.kind),
    "signed": (SIGNED, SIGNED_FILE.kind),
    "words": (WORDS, WORDS_FILE.kind),
    "vocabulary": ("vocabulary/*.yaml", if_has("lists", LISTS_FILE.kind, SUBJECT_FILE.kind)),
    "tables": ("tables/*.yaml", TABLES_FILE.kind),
    "tongue": (f"{TONGUES}/*.yaml", _TONGUE.kind),
    "topic": ("*.yaml", TOPIC.kind),
}
"""Each kind of rule file: which files are of it, the first that fits, and how they are written."""


def kind_of(file: str) -> str:
    """Of which kind a rule file is, by its path in the folder; empty where it is none."""
    below = file.count("/")
    return next(
        (one for one, (files, _) in FILES.items() if files.count("/") == below and fnmatchcase(file, files)), ""
    )


def schemas(rulebook: Rulebook) -> dict[str, dict[str, Any]]:
    """The schema of each kind of file, of a rulebook with these names."""
    names = _names(rulebook)
    found = {}
    for name, (files, kind) in FILES.items():
        head = {"$schema": DIALECT, "title": f"fitsvc rules: {files}"}
        used = {place: names[place] for place in names if f'"#/$defs/{place}"' in str(kind).replace("'", '"')}
        found[name] = {**head, **{key: one for key, one in kind.items() if key != "title"}, "$defs": used}
    return found


def _names(rulebook: Rulebook) -> dict[str, Kind]:
    """What the forms refer to by name: what this rulebook has."""
    vocabulary = rulebook.vocabulary
    facts = [*dict.fromkeys((*vocabulary.facts, *vocabulary.slots()))]
    kinds = vocabulary.lists[vocabulary.facts[KIND].kind].members if KIND in vocabulary.facts else ()
    short = [fact.short for fact in vocabulary.facts.values() if fact.subject == "adapter"]
    ids = [
        *(one.id for one in rulebook.rules),
        *(one.id for one in rulebook.limits),
        *(one.id for one in rulebook.needs),
    ]
    return {
        "fact": _enum("a fact", facts),
        "adapters_fact": _enum("a fact of an adapter", short),
        "subject": _enum("a subject", vocabulary.subjects),
        "kind": _enum("a kind of accessory", kinds),
        "rule": _enum("a rule, limit or need", ids),
        "role": _enum("a role", [role.name for roles in vocabulary.roles.values() for role in roles]),
        "source": _enum("a source", [*rulebook.sources, *(one.id for one in rulebook.tables.values() if one.rows)]),
        "unit": _enum("a unit to show", DISPLAY_UNITS),
        "value_type": _enum("a list, a dimension or `yes_no`", [*vocabulary.lists, *VALUE_TYPES]),
        "fact_type": _enum("a list, a dimension, `yes_no`, `text` or `tyre`", [*vocabulary.lists, *FACT_TYPES]),
    }


def _enum(what: str, words: Iterable[str]) -> Kind:
    return {"description": what, "enum": [*words]}
