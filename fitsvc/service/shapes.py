"""JSON Schemas of all that the API takes and gives: what is stored, questions and answers, and what they rest on."""

import msgspec

from fitsvc.answers.answer import Answer, RestsOn
from fitsvc.answers.figures import Figures
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.things import MOST_THINGS
from fitsvc.language.types import ListType
from fitsvc.observing.sheet import Sheet
from fitsvc.observing.worklist import WorkList
from fitsvc.planning.plan import Plan
from fitsvc.planning.reading import LONGEST_NAME, MOST_PARTS, MOST_WISHES
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import EFFORTS, PRESENCES, Vocabulary
from fitsvc.selection.selector import Selection
from fitsvc.service.audits.shapes import audits
from fitsvc.service.catalogue import CatalogueReport
from fitsvc.service.codes import OF_ERRORS
from fitsvc.service.earlier import AnsweredThen
from fitsvc.service.feed import OutcomeChanges
from fitsvc.service.json_schema import (
    COUNTS,
    NULL,
    TEXT,
    Schema,
    array,
    closed,
    described,
    nullable,
    parts,
    reference,
    text,
    word,
)
from fitsvc.service.matches import MOST_ITEMS, MOST_RIGS, ItemRigs, Matches
from fitsvc.service.record_shapes import stored, title
from fitsvc.service.schema import named_in, none_of, schemas
from fitsvc.subjects import PLACE


def components(rulebook: Rulebook) -> dict[str, Schema]:
    """Return every schema of the API."""
    vocabulary = rulebook.vocabulary
    told = [
        Answer,
        Plan,
        Selection,
        Matches,
        ItemRigs,
        CatalogueReport,
        OutcomeChanges,
        AnsweredThen,
        Figures,
        RestsOn,
        Sheet,
        WorkList,
    ]
    _, answers = msgspec.json.schema_components(told, ref_template="#/components/schemas/{name}")
    found = dict(sorted(answers.items())) | schemas(vocabulary) | _wishes(rulebook) | _selection() | _match(vocabulary)
    found |= _parts_of(found["Answer"])
    return found | audits(vocabulary) | _shared() | stored(rulebook.trials) | _knowledge()


def _parts_of(answer: Schema) -> dict[str, Schema]:
    """Return an answer of which only what was asked for is told."""
    members = {
        **answer["properties"],
        "codes": array(TEXT),
        "figures": reference("Figures"),
        "rests_on": array(reference("RestsOn")),
        "then": nullable(reference("AnsweredThen")),
    }
    part = parts("Those members of an answer that `include` names.", **members)
    return {"AnswerPart": part, "Answered": {"anyOf": [reference("Answer"), reference("AnswerPart")]}}


def _shared() -> dict[str, Schema]:
    pointer = text("JSON pointer (RFC 6901) into the body; empty for all of it.")
    codes = ", ".join(f"`{code}`" for code in OF_ERRORS)
    entry = closed(
        ["detail"],
        "One thing to be put right: in the body at `pointer`, or after the `?` in `parameter`.",
        pointer=pointer,
        parameter=text("The parameter of the query."),
        line={"type": "integer", "minimum": 1, "description": "The line of a file that was sent."},
        code=text(f"What is the matter, where a program may act on it: {codes}."),
        detail=TEXT,
        help=text("What to write instead."),
    )
    problem = closed(
        ["type", "title", "status", "detail"],
        "A problem document (RFC 9457); `errors` has everything that is to be put right.",
        type=text("The problem's code as the address of a page about it, `/problems/CODE`.", format="uri-reference"),
        title=TEXT,
        status={"type": "integer"},
        detail=TEXT,
        errors=array(entry),
    )
    pulled = closed(
        ["from", "digest", "made_at", "looked_at", "failures"],
        "How it stands with rules that are pulled from elsewhere.",
        digest={"type": ["string", "null"], "description": "Digest of the rulebook that was taken last."},
        made_at={"type": ["string", "null"], "format": "date-time", "description": "When its release was made."},
        looked_at={
            "type": ["string", "null"],
            "format": "date-time",
            "description": "When what is offered was last found as it should be.",
        },
        failures={"type": "integer", "description": "Looks in a row, up to the last, at which nothing could be taken."},
        failure=text("Why not, at the last of them."),
        **{"from": text("The host that they are pulled from, or that it is a folder.")},
    )
    return {
        "Problem": problem,
        "Health": closed(
            ["status", "rulebook"],
            status=word(("live", "ready")),
            rulebook=TEXT,
            in_force={"type": ["string", "null"], "description": "Digest of the rulebook that holds now."},
            refused=text("Why that one cannot be served here."),
            pulled=pulled,
        ),
        "Metrics": TEXT,
        "Description": {"type": "object", "description": "This document."},
    }


def _wishes(rulebook: Rulebook) -> dict[str, Schema]:
    """Return the body of a plan: the way to a receiver, and of each wish what is to serve it."""
    name = text("What to call the wish.", minLength=1, maxLength=LONGEST_NAME)
    wish = closed(
        [],
        "A question with the accessory left open: `kind` is that of what is to serve it, and may be left out where "
        "bikes, cargo or a trailer say it. Wishes are served one at a time, or all at once in the receiver named by "
        "`together`.",
        name=nullable(name),
        kind=reference("AccessoryKindChoice"),
        load=nullable(reference("LoadPart")),
        trailer=nullable(reference("TrailerPart")),
    )
    place = rulebook.vocabulary.facts[PLACE].type
    assert isinstance(place, ListType)
    most: Schema = {"type": "integer", "minimum": 1, "maximum": MOST_PARTS}
    wishes = closed(
        ["wishes"],
        "What a receiver is to be chosen for: the vehicle by its `id`, or a rig whose receiver is there already.",
        rig=nullable(reference("Rig")),
        wishes=array(reference("Wish"), minItems=1, maxItems=MOST_WISHES),
        together=nullable(word(place.members, "The receiver that holds all of it at the same time.")),
        parts_at_most=nullable(most | {"description": "How many parts may be bought, the receiver counted."}),
    )
    nowhere = none_of("id", "vehicle", "receiver", "mounting") | {"type": "object"}
    no_receiver: Schema = {"properties": {"rig": {"anyOf": [NULL, nowhere]}}}
    alone: Schema = {"properties": {"wishes": {"anyOf": [array({}, maxItems=1), array({}, minItems=MOST_THINGS + 1)]}}}
    never: Schema = {"anyOf": [no_receiver, {"allOf": [named_in(TOGETHER), alone]}]}
    return {"Wish": wish, "Wishes": wishes | {"not": never}}


def _selection() -> dict[str, Schema]:
    named = {name: nullable(reference(f"{title(name)}Part")) for name in ("load", "ball", "trailer", "beside")}
    about = "A question without its accessory: each of the store's is asked about."
    return {"SelectionQuestion": closed(["rig"], about, rig=reference("Rig"), **named)}


def _match(vocabulary: Vocabulary) -> dict[str, Schema]:
    named = {name: nullable(reference(f"{title(name)}Part")) for name in ("load", "ball", "trailer", "beside")}
    about = "Rigs and the SKUs of accessories, with what holds for all of them, and what hangs on each rig already."
    place = vocabulary.facts[PLACE].type
    assert isinstance(place, ListType)
    body = closed(
        ["rigs", "skus"],
        about,
        rigs=array(reference("Rig"), minItems=1, maxItems=MOST_RIGS),
        skus=array(text(minLength=1, examples=["DRY-RACK-4"]), minItems=1, maxItems=MOST_ITEMS),
        **named,
        hangs_on=nullable(word(place.members, "Where each item hangs; to be told with `together`.")),
        together=nullable(array(reference("Thing"), "What hangs on each rig already.", minItems=1, maxItems=3)),
    )
    alone = {"anyOf": [named_in("beside"), none_of("hangs_on")]}
    return {"MatchQuestion": body | {"not": named_in(TOGETHER) | alone}}


def _knowledge() -> dict[str, Schema]:
    texts: Schema = {"type": "object", "additionalProperties": TEXT}
    source = closed(["kind"], kind=TEXT, cite=TEXT, because=TEXT)
    rule = closed(
        id=TEXT,
        topic=TEXT,
        title=TEXT,
        applies_when=TEXT,
        requires=TEXT,
        severity=word(("blocking", "caution")),
        if_unknown=word(("undetermined", "caution")),
        subjects=array(TEXT),
        limit=TEXT,
        remedy=TEXT,
        source=source,
    )
    work = described({"type": "boolean"}, "Whether it is work to do, and no part to have.")
    need = closed(
        name=described(TEXT, "As it stands among `codes`."),
        topic=TEXT,
        title=TEXT,
        applies_when=TEXT,
        subjects=array(TEXT),
        work=work,
        source=source,
    )
    return {
        "Rulebook": closed(name=TEXT, digest=TEXT, topics=texts, counts=COUNTS),
        "Rulebooks": closed(items=array(reference("Rulebook"))),
        "Reloaded": closed(
            rulebook=described(TEXT, "The digest that this reply's process answers by."),
            in_force=described(nullable(TEXT), "The one that holds from now on, within a second for every process."),
        ),
        "Rule": rule,
        "Rules": closed(items=array(reference("Rule"))),
        "Need": need,
        "Needs": closed(items=array(reference("Need"))),
        "Vocabulary": _vocabulary(),
    }


def _vocabulary() -> Schema:
    subject = closed(name=TEXT, title=TEXT, presence=word(PRESENCES))
    member = closed(name=TEXT, words=TEXT)
    listed = closed(name=TEXT, kind=word(("sizes", "words")), members=array(member))
    span: Schema = {"type": ["array", "null"], "items": TEXT, "minItems": 2, "maxItems": 2}
    fact = closed(
        name=TEXT,
        type=TEXT,
        label=TEXT,
        shown_in=TEXT,
        meaning=TEXT,
        how_to_measure=TEXT,
        range=span,
        effort=word(EFFORTS),
    )
    return closed(subjects=array(subject), lists=array(listed), facts=array(fact))
