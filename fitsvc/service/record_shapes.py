"""JSON Schemas of what is stored: records, rigs and observations, as they are sent and as they are given."""

from collections.abc import Mapping
from typing import Final, get_args

from fitsvc.facts import MOST_ADAPTERS
from fitsvc.observing.trials import GAP
from fitsvc.rulebook.rules import TrialState
from fitsvc.service.documents import KINDS, RecordKind
from fitsvc.service.json_schema import (
    ANY,
    COUNT,
    COUNTS,
    TEXT,
    TIME,
    Schema,
    array,
    closed,
    described,
    nullable,
    page,
    reference,
    short,
    text,
    word,
)
from fitsvc.service.observations import SUBJECTS
from fitsvc.service.schema import facts_name, named_in, tyre
from fitsvc.store.tables import KEY, LABEL, NAME, NOTE, PHOTO, Act, Kind
from fitsvc.store.validation import PREFIXES
from fitsvc.store.written import Act as Acts
from fitsvc.subjects import RIG, SOLD
from fitsvc.tried import RESULTS, TOUCHED

_VERSION: Final[Schema] = {"type": "integer", "minimum": 1}
_KIND: Final = word(get_args(Kind))
_ID: Final = {one: rf"^{prefix}[A-Za-z0-9_-]{{1,60}}$" for one, prefix in PREFIXES.items()}
_INK: Final = r"[^\s\u0000\u001c-\u001f\u0085]"
"""What is no blank: a schema's `\\s` (ECMA-262) leaves out five marks that Python counts as white space."""
_NOT_BLANK: Final = rf"^[^\u0000]*{_INK}[^\u0000]*$"
_SKU: Final = text(
    minLength=1,
    maxLength=KEY,
    examples=["DRY-RACK-4"],
    pattern=rf"^(?!\.{{1,2}}$){_INK}(?:[^\u0000]*{_INK})?$",
)
_OUTCOME: Final = word(("works", "conditional", "undetermined", "fails"))


def stored(trials: Mapping[str, TrialState]) -> dict[str, Schema]:
    """Return the schemas of everything that is stored; `trials` are the ways to try an accessory."""
    found = _log() | _known() | _rigs() | _observations(trials) | _remarks()
    for kind in KINDS:
        found |= _records(kind)
    return found


def _log() -> dict[str, Schema]:
    line = closed(
        sequence=COUNT,
        at=TIME,
        by=TEXT,
        request=text("The `X-Request-Id` of the reply."),
        act=word(get_args(Acts)),
        kind=TEXT,
        key=TEXT,
        before=nullable(ANY),
        after=nullable(ANY),
    )
    after = {"type": ["integer", "null"], "description": "What to give as `after` for the next page; null at the end."}
    hook = closed(
        address=TEXT,
        revision=TEXT,
        rulebook=TEXT,
        told_at=nullable(TIME),
        attempts=COUNT,
        due_at=nullable(TIME),
        failure=nullable(TEXT),
    )
    pages = {"Writes": closed(items=array(reference("Write")), next=after), "Webhooks": closed(items=array(hook))}
    return {"Write": line, **pages}


def title(name: str) -> str:
    """Return a name as components are named."""
    return name[:1].upper() + name[1:]


def _known() -> dict[str, Schema]:
    """Return what is stored of facts, and how they are told."""
    value = {"type": ["string", "number", "boolean", "array", "object"], "items": {}}
    about = "`disputed` where statements cannot all hold, `doubtful` where they hardly can, `stale` where all were "
    about += "seen before what they lean on changed; left out where none of it is so."
    state = described(word(("doubtful", "disputed", "stale")), about)
    at = described(TIME, "Left out of what the record of a rig says.")
    source = described(TEXT, "The feed that said it; left out where none did.")
    by = {"by": TEXT, "source": source, "at": at}
    said = closed(["value", "kind", "by", "observation"], value=value, kind=_KIND, **by, observation=TEXT)
    tried = described(_by_name(value, ""), "What the fact is for the very thing that was tried.")
    rubbed = described(array(TEXT), "Of what was tried, what went in and rubbed.")
    settled = described({"type": "boolean"}, "Who said that it touched has tried it so again since, and it went.")
    through = described(TEXT, "The SKU of the adapter that it hung on, or of several with commas between.")
    told = {"by": TEXT, "at": TEXT, "through": through, "settled": settled}
    thing = closed(["sku", "how", "result"], sku=TEXT, how=TEXT, result=word(RESULTS), **told)
    things = described(array(thing), "Accessories that were tried, and what came of it.")
    changed = described(array(TEXT), "What a stale one leans on and is not what it was.")
    more = {"state": state, "said": array(said), "changed": changed}
    more |= {"tried": tried, "rubbed": rubbed, "things": things}
    how = closed(["kind", "observation"], kind=_KIND, observation=TEXT, **more)
    return {
        "StoredFacts": _by_name(value, "Facts as they were told, by name."),
        "Provenance": _by_name(how, "For each fact how it is known, and from which observation."),
        "Told": closed([], "How the facts come to be known.", **_told("published")),
    }


def _by_name(one: Schema, about: str) -> Schema:
    return described({"type": "object", "additionalProperties": one}, about)


def _told(default: str) -> dict[str, Schema]:
    at = described(TIME, "When, with its zone; now if left out.") | {"examples": ["2026-03-02T09:30:00Z"]}
    return {
        "kind": nullable(described(_KIND, f"`{default}` if left out.")),
        "by": nullable(described(short(NAME), "Who told it; the API key's name if left out.")),
        "at": nullable(at),
        "note": nullable(short(NOTE)),
        "tool": nullable(described(short(NAME), "What it was measured with.")),
        "condition": nullable(described(short(NOTE), "Loaded or empty, level or not, tyres.")),
        "photo": nullable(described(short(PHOTO), "Where a photograph of it is.")),
        "source": nullable(described(short(NAME), "The feed it comes by, which owns what it says.")),
    }


def key_of(kind: RecordKind | None) -> Schema:
    """Return the schema of the id or SKU that a record, or without a kind a saved rig, may be made under."""
    return text(pattern=_ID[kind.subject if kind else RIG]) if kind is None or kind.key == "id" else _SKU


def _records(kind: RecordKind) -> dict[str, Schema]:
    one, key = title(kind.subject), kind.key
    own = {key: TEXT}
    if kind.subject == "accessory":
        own["subject"] = word(SOLD)
    own |= dict.fromkeys(kind.links, TEXT)
    record = closed(
        **own,
        label=TEXT,
        facts=reference("StoredFacts"),
        provenance=reference("Provenance"),
        version=_VERSION,
        created_at=TIME,
        updated_at=TIME,
    )
    return {
        one: record,
        title(kind.many): page(reference(one)),
        f"New{one}": _draft(kind, new=True),
        f"{one}State": _draft(kind, new=False),
    }


def _draft(kind: RecordKind, *, new: bool) -> Schema:
    """Return the body for a record; what an accessory is sold as decides which facts it has."""
    if kind.subject != "accessory":
        return _variant(kind, kind.subject, new)
    return {"oneOf": [_variant(kind, sold_as, new) for sold_as in SOLD]}


def _variant(kind: RecordKind, subject: str, new: bool) -> Schema:
    sku = kind.key == "sku"
    key = _SKU if sku else text("Made if left out.", pattern=_ID[kind.subject])
    properties: dict[str, Schema] = {kind.key: key if new and sku else nullable(key)} if new else {}
    if sku:
        properties["subject"] = {"const": subject}
    properties |= {link: text(pattern=_ID[link]) for link in kind.links}
    required = [*(name for name in (kind.key, "subject") if sku and name in properties), *kind.links]
    facts, told = nullable(reference(facts_name(subject))), nullable(reference("Told"))
    return closed(required, **properties, label=nullable(short(LABEL)), facts=facts, told=told)


def _rigs() -> dict[str, Schema]:
    name, rig = text(minLength=1, maxLength=LABEL, pattern=_NOT_BLANK), reference("Rig")
    of_parts = rig | {"properties": {"id": {"type": "null"}}, "description": "Of its parts, not by another rig's id."}
    key = nullable(text("Made if left out.", pattern=_ID["rig"]))
    return {
        "SavedRig": closed(
            ["id", "name", "rig", "version", "created_at", "updated_at"],
            id=TEXT,
            name=TEXT,
            rig=rig,
            facts=described(reference("StoredFacts"), "What was told of this very one, by whole names."),
            provenance=reference("Provenance"),
            version=_VERSION,
            created_at=TIME,
            updated_at=TIME,
        ),
        "SavedRigs": page(reference("SavedRig")),
        "NewRig": closed(["name", "rig"], id=key, name=name, rig=of_parts),
        "RigState": closed(name=name, rig=of_parts),
    }


def _remarks() -> dict[str, Schema]:
    says = text("What is wrong with it.", minLength=1, maxLength=NOTE, pattern=_NOT_BLANK)
    question = nullable(reference("Question"))
    remark = closed(
        id=TEXT,
        rule=TEXT,
        question={"type": ["object", "null"], "additionalProperties": True},
        outcome=described(TEXT, "What the question came to; empty without one."),
        result=described(TEXT, "What the rule came to in it; empty where it did not apply."),
        reason=described(TEXT, "What was said of that."),
        text=TEXT,
        by=TEXT,
        written_by=described(TEXT, "The name of the API key that it came in by."),
        rulebook=described(TEXT, "The digest of the rulebook that answered."),
        made_at=TIME,
        closed_at=described(nullable(TIME), "When whoever keeps the rules closed it; null while it is open."),
        closed_by=TEXT,
        closed_because=described(TEXT, "What came of it."),
    )
    because = text("What came of it.", minLength=1, maxLength=NOTE, pattern=_NOT_BLANK)
    rule = text("A rule's, a limit's or a need's id, as in a finding's `rule`.", minLength=1, maxLength=KEY)
    return {
        "Remark": remark,
        "Remarks": page(reference("Remark")),
        "RemarkState": closed(["because"], because=because, by=nullable(short(NAME))),
        "NewRemark": closed(["rule", "text"], rule=rule, text=says, question=question, by=nullable(short(NAME))),
    }


def _observations(trials: Mapping[str, TrialState]) -> dict[str, Schema]:
    evidence: Schema = {"type": ["object", "null"], "additionalProperties": True}
    observation = closed(
        id=TEXT,
        subject=word(SUBJECTS),
        record=TEXT,
        facts=described(ANY, "Null takes a fact back."),
        kind=_KIND,
        by=TEXT,
        at=TIME,
        note=TEXT,
        recorded_at=TIME,
        evidence=described(evidence, "What was tried."),
        written_by=described(TEXT, "The name of the API key that it came in by."),
        tool=TEXT,
        condition=TEXT,
        photo=TEXT,
        source=TEXT,
        act=described(word(get_args(Act)), "What it does to the observations that it takes back."),
        reason=TEXT,
        takes_back=_by_name(array(TEXT), "Earlier observations by the fact taken back of them; `*` is all facts."),
    )
    observed = closed(
        observation=reference("Observation"),
        record={"anyOf": [reference(name) for name in (*(title(kind.subject) for kind in KINDS), "SavedRig")]},
        repeated=described({"type": "boolean"}, "Whether the very same had been told before."),
        contradictions=array(reference("Contradiction")),
        rigs=reference("RigsChanged"),
    )
    would = {
        f"Would{title(kind.subject)}": closed(
            record=reference(title(kind.subject)), no_longer_seen=COUNT, rigs=reference("RigsChanged")
        )
        for kind in KINDS
    }
    return (
        would
        | _evidence(trials)
        | {
            "Observation": observation,
            "Observations": page(reference("Observation")),
            "Observed": observed,
            "Contradiction": _contradiction(),
            "RigsChanged": _rigs_changed(),
            "NewObservation": {"oneOf": [body for kind in KINDS for body in _told_of(kind, trials)] + _told_of_rig()},
        }
    )


def _contradiction() -> Schema:
    value: Schema = {"description": "As it was told."}
    said = closed(fact=TEXT, value=value, kind=_KIND, by=TEXT, source=TEXT, at=TIME, observation=TEXT)
    about = "Statements that cannot all hold, the newest last, or that a null did not take back; all stay in the log."
    return closed(None, about, fact=TEXT, because=TEXT, said=array(said))


def _rigs_changed() -> Schema:
    counts = described(COUNTS, "How many accessories come to each outcome, as selections on the rig count them.")
    sku = text("Empty for the rig with the spare and adapters it has.")
    one = closed(sku=sku, before=_OUTCOME, after=_OUTCOME)
    answers = described(COUNT, "How many answers changed: about accessories, and about the rig with what it has.")
    rig = closed(rig=TEXT, name=TEXT, before=counts, after=counts, count=answers, changed=array(one))
    return closed(changed=array(rig), judged=COUNT, left_off=COUNT, accessories_left_off=COUNT)


def _told_of_rig() -> list[Schema]:
    """Return the bodies for an observation of a saved rig: facts by their whole names, or a retraction."""
    about = {"subject": {"const": RIG}, "record": text("The rig's `id`.", minLength=1, pattern=_ID[RIG])}
    kinds = word([kind for kind in get_args(Kind) if kind != "assumed"], "`measured` if left out.")
    return _bodies(about, {"facts": reference("RigFacts")}, _told("measured") | {"kind": nullable(kinds)})


def _told_of(kind: RecordKind, trials: Mapping[str, TrialState]) -> list[Schema]:
    """Return the bodies for an observation of a kind of record: facts, of a mounting evidence, or a retraction."""
    subjects = SOLD if kind.subject == "accessory" else (kind.subject,)
    facts = [reference(facts_name(subject)) for subject in subjects]
    about = {
        "subject": {"const": kind.subject},
        "record": text(f"The {kind.subject}'s `{kind.key}`.", minLength=1),
    }
    one = {"facts": facts[0] if len(facts) == 1 else {"anyOf": facts}}
    told = _told("measured")
    bodies = _bodies(about, one, told)
    if kind.subject != "mounting":
        return bodies
    reason = {"reason": text("Why.", minLength=1, maxLength=NOTE, pattern=_NOT_BLANK)}
    tried = [reference(name) for name in _evidence(trials)]
    evident = {"evidence": {"anyOf": tried}, "facts": nullable(one["facts"])}
    return [
        *bodies,
        closed([*about, "evidence"], **about, **evident, **told),
        closed([*about, "evidence", "corrects", "reason"], **about, **evident, **reason, corrects=_CORRECTS, **told),
        closed(
            [*about, "evidence", "settles", "reason"], **about, **evident, **reason, settles={"const": True}, **told
        ),
    ]


def _bodies(about: Mapping[str, Schema], one: Mapping[str, Schema], told: Mapping[str, Schema]) -> list[Schema]:
    """Return the bodies by which facts are told, taken back, settled and corrected."""
    reason = {"reason": text("Why.", minLength=1, maxLength=NOTE, pattern=_NOT_BLANK)}
    least = {name: facts | {"minProperties": 1} for name, facts in one.items()}
    retracts = {"retracts": text("An earlier observation of this record, to be taken back as a whole.", minLength=1)}
    return [
        closed([*about, "facts"], **about, **least, **told),
        closed([*about, "retracts", "reason"], **about, **retracts, **reason, **told),
        closed([*about, "facts", "settles", "reason"], **about, **least, **reason, settles={"const": True}, **told),
        closed([*about, "facts", "corrects", "reason"], **about, **least, **reason, corrects=_CORRECTS, **told),
    ]


def _evidence(trials: Mapping[str, TrialState]) -> dict[str, Schema]:
    """Return the schemas of what was tried: a spare, and where the rulebook says how an accessory."""
    yes_no: Schema = {"type": "boolean"}
    about = "Whether a spare stowed with this receiver, rubbing or not."
    found = {"StowedSpare": closed(["tyre", "stowed"], about, tyre=tyre(), stowed=yes_no, rubbed=yes_no)}
    if not trials:
        return found
    about = (
        "An accessory that was tried here, in the receiver itself or through adapters: in what state, what came of "
        "it, and the gap left."
    )
    ways = "; ".join(f"`{name}`: {one.title}" for name, one in trials.items())
    result = word(RESULTS, "`rubbed` went in and rubs; `touched` did not go.")
    several = array(_SKU, "Of several, the one in the receiver first.", minItems=1, maxItems=MOST_ADAPTERS)
    about_it = "The SKU of the adapter that it hung on; left out, it hung in the receiver itself."
    through: Schema = {"anyOf": [_SKU, several], "description": about_it}
    names = {"sku": _SKU, "state": word(tuple(trials), f"{ways}."), "result": result}
    touched: Schema = {"required": ["result"], "properties": {"result": {"const": TOUCHED}}}
    gap = reference("Length") | {"x-range": list(GAP)}
    thing = closed(["sku", "state", "result"], about, **names, gap=gap, through=through)
    return found | {"TriedThing": thing | {"not": {"allOf": [named_in("gap"), touched]}}}


_CORRECTS: Final = text("An earlier observation of this record, taken back in what is told anew.", minLength=1)
