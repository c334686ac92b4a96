"""Reading a topic file: derived values, rules, limits and needs; every departure noted at its place."""

import re
from collections.abc import Iterable
from collections.abc import Mapping as Map
from dataclasses import dataclass, replace
from typing import Final

from fitsvc.language import typed
from fitsvc.language.problems import nearest
from fitsvc.language.truth import NO
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, NumberType
from fitsvc.rulebook.dating import PERIOD
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.filling import FILLS, read_fills
from fitsvc.rulebook.forms import EXPRESSION, QUANTITY, TEXT, YES_NO, Form, Kind, by_name, either, many, named, one_of
from fitsvc.rulebook.outcomes import EFFECTS, IF_UNKNOWN, OUTCOME_OF, SEVERITIES, SO, IfUnknown, Result
from fitsvc.rulebook.rules import Example, IfKnown, Limit, Need, Rating, Reference, Rule, Shown, Template
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.viewing import DRAWS, read_draws
from fitsvc.rulebook.vocabulary import FORMERLY
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

_ID: Final = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*\Z")
_GIVES: Final = ("passes", "fails", "undetermined", "not_applicable")
_MET: Final = ("met", "open", "not_applicable")
_BRINGS: Final[tuple[Result, ...]] = ("fails", "undetermined")
"""The results of which an example says what they bring to the answer."""
_MEANT: Final = "`blocks` makes the answer no, `open` leaves it open, `caution` is a yes with something to see to"


_KINDS: Final = ("published", "common_practice", "estimate")
SOURCE: Final = Form(
    "a source", {"kind": one_of(*_KINDS)}, {"cite": TEXT, "because": TEXT, "named": many(named("source"))}
)
_OF_EXAMPLES: Final[Map[str, Kind]] = {
    "gives": TEXT,
    "so": one_of(*SO.values()),
    "adapters": many(by_name({}, named("adapters_fact"))),
    "present": many(either(named("subject"), named("fact"))),
}


def examples_of(gives: Iterable[str], **values: Kind) -> Kind:
    """The examples of something: each tells facts, by their names, and what is given then."""
    own = {**_OF_EXAMPLES, "gives": one_of(*gives), **values}
    told = Form("an example", {}, own, free={}).kind
    return many({**told, "propertyNames": either(named("fact"), {"enum": [*own]})})


SAME: Final = by_name(TEXT)
"""Reasons why changes of an entry would come to the same, by the change."""
_ID_KIND: Final[Kind] = {"type": "string", "pattern": _ID.pattern.replace(r"\Z", "$")}
RULE: Final = Form(
    "a rule",
    {
        "id": _ID_KIND,
        "title": TEXT,
        "requires": EXPRESSION,
        "severity": one_of(*SEVERITIES),
        "fails_because": TEXT,
        "source": SOURCE.kind,
        "examples": examples_of(_GIVES),
    },
    {
        "applies_when": EXPRESSION,
        "same": SAME,
        FORMERLY: many(TEXT),
        "if_unknown": one_of(*IF_UNKNOWN),
        "unknown_because": TEXT,
        "remedy": TEXT,
        "draws": DRAWS.kind,
        "asks": YES_NO,
        "accepted": TEXT,
        **PERIOD,
    },
)
RATING: Final = Form(
    "a rating", {"rating": EXPRESSION}, {"if_unknown": one_of(*IF_UNKNOWN), "applies_when": EXPRESSION}
)
LIMIT: Final = Form(
    "a limit",
    {
        "id": _ID_KIND,
        "title": TEXT,
        "quantity": TEXT,
        "lowest_of": many(either(EXPRESSION, RATING.kind), minItems=1),
        "judged": EXPRESSION,
        "severity": one_of(*SEVERITIES),
        "source": SOURCE.kind,
        "examples": examples_of(_GIVES, at_most=QUANTITY),
    },
    {
        "applies_when": EXPRESSION,
        "judged_when": EXPRESSION,
        "fails_because": TEXT,
        "remedy": TEXT,
        "same": SAME,
        FORMERLY: many(TEXT),
        **PERIOD,
    },
)
NEED: Final = Form(
    "a need",
    {
        "id": _ID_KIND,
        "title": TEXT,
        "because": TEXT,
        "source": SOURCE.kind,
        "examples": many(Form("an example", {}, {**_OF_EXAMPLES, "gives": one_of(*_MET)}, free={}).kind),
    },
    {
        "applies_when": EXPRESSION,
        "same": SAME,
        FORMERLY: many(TEXT),
        "met_when": EXPRESSION,
        "values": by_name(EXPRESSION),
        "unknown_because": TEXT,
        "fills": FILLS,
        "work": YES_NO,
        "goes_with": many(named("rule")),
        **PERIOD,
    },
)


_UNREAD: Final = typed.Constant(TRUTH, NO)
"""Stands for the margin of a requirement that could not be read, about which enough has been said."""


def reference(shape: Shape, parent: Mapping) -> Reference:
    """The source of a rule, table or caution."""
    node = parent.entries.get("source")
    entry = shape.form(node, SOURCE) if node else None
    if entry is None:
        return Reference("")
    kind = shape.one_of(entry, "kind", _KINDS)
    wanted = {"published": "cite", "estimate": "because"}.get(kind)
    if wanted and wanted not in entry.entries and kind == shape.text(entry, "kind"):
        shape.complain(entry, f"a source of kind `{kind}` says `{wanted}`", f"add `{wanted}: ...`")
    named = tuple(
        one.value or "" for one in shape.items(entry.entries.get("named"), "`named`") if isinstance(one, Scalar)
    )
    return Reference(kind, shape.text(entry, "cite"), shape.text(entry, "because"), named)


def identifier(shape: Shape, entry: Mapping, taken: dict[str, str], topic: str) -> str:
    """An id, well formed and not taken by another rule, limit or need."""
    name = shape.text(entry, "id")
    node = entry.entries["id"]
    if not _ID.match(name):
        shape.complain(node, f"`{name}` cannot be an id", "use small words joined by hyphens")
    elif name in taken:
        shape.complain(node, f"`{name}` is taken by an entry in `{taken[name]}`", "choose another id")
    taken[name] = topic
    return name


def read_examples(shape: Shape, parent: Mapping, allowed: Iterable[str], wanted: Iterable[str]) -> tuple[Example, ...]:
    """The examples of a rule, limit or need, and whether the wanted results all occur."""
    examples = []
    for item in shape.items(parent.entries.get("examples"), "`examples`"):
        if isinstance(item, Mapping):
            examples.append(_example(shape, item, allowed))
        else:
            shape.complain(item, "an example is written `{fact: value, ..., gives: passes}`")
    missing = [f"`{gives}`" for gives in wanted if gives not in {example.gives for example in examples}]
    if missing and "examples" in parent.entries:
        shape.complain(parent.entries["examples"], f"no example gives {', '.join(missing)}", "add one of each")
    return tuple(examples)


def _example(shape: Shape, item: Mapping, allowed: Iterable[str]) -> Example:
    facts = {name: node for name, node in item.entries.items() if "." in name}
    values = {n: v for n, v in item.entries.items() if "." not in n and n not in _OF_EXAMPLES}
    stacked = shape.items(item.entries.get("adapters"), "`adapters`")
    adapters = [dict(shape.open_mapping(node, "an adapter")) for node in stacked]
    present = [n.value or "" for n in shape.items(item.entries.get("present"), "`present`") if isinstance(n, Scalar)]
    gives = shape.one_of(item, "gives", allowed) if "gives" in item.entries else ""
    if not gives and not values:
        shape.complain(item, "an example says what the rule gives", "add `gives: passes`")
    return Example(
        node=item,
        facts=facts,
        adapters=tuple(adapters),
        present=tuple(present),
        gives=gives,
        so=_so(shape, item, gives),
        values=values,
    )


def _so(shape: Shape, item: Mapping, gives: str) -> str:
    """What an example says that its result brings to the answer; only a result that brings something has it."""
    brings = [result for result in _BRINGS if result == gives]
    words = dict.fromkeys(SO[OUTCOME_OF[row[result]]] for result in brings for row in EFFECTS.values())
    if "so" not in item.entries:
        if words:
            ways = " or ".join(f"`so: {word}`" for word in words)
            shape.complain(item, f"an example that gives `{gives}` says what that brings", f"add {ways}: {_MEANT}")
        return ""
    if not words:
        shape.complain(item.entries["so"], f"what gives `{gives}` brings nothing to the answer", "take `so` out")
        return ""
    return shape.one_of(item, "so", words, what=f"what `{gives}` may bring")


def _guard(parts: Iterable[AnyTyped | None]) -> AnyTyped | None:
    conditions = tuple(part for part in parts if part is not None)
    if len(conditions) > 1:
        return typed.All(TRUTH, conditions)
    return conditions[0] if conditions else None


def _written(entry: Mapping, key: str) -> str:
    node = entry.entries.get(key)
    return " ".join((node.value or "").split()) if isinstance(node, Scalar) else ""


def read_rule(read: Expressions, node: Node, topic: str, taken: dict[str, str]) -> Rule | None:
    """Read one rule."""
    shape = read.shape
    entry = shape.form(node, RULE)
    if entry is None:
        return None
    name = identifier(shape, entry, taken, topic)
    guard, requires = read.read(entry, "applies_when"), read.read(entry, "requires")
    severity = shape.one_of(entry, "severity", SEVERITIES)
    if_unknown = shape.one_of(entry, "if_unknown", IF_UNKNOWN, "undetermined")
    if severity == "caution" and "if_unknown" in entry.entries:
        shape.complain(entry.entries["if_unknown"], "`if_unknown` is for blocking rules; a caution is one either way")
    source = reference(shape, entry)
    read.examples[name] = read_examples(shape, entry, _GIVES, _GIVES[:3])
    margin = read.margin(requires) if requires is not None else read.shown(_UNREAD)
    extra = {"margin": margin} if margin else {}
    fails = read.template(entry, "fails_because", extra)
    unknown = read.template(entry, "unknown_because", {})
    if requires is None:
        return None
    subjects = read.subjects(guard, requires)
    return Rule(
        id=name,
        topic=topic,
        title=shape.text(entry, "title"),
        subjects=subjects,
        guard=guard,
        requires=requires,
        severity=severity,
        if_unknown=if_unknown,
        fails=fails,
        unknown=unknown,
        remedy=shape.text(entry, "remedy"),
        source=source,
        margin=margin,
        applies_text=_written(entry, "applies_when"),
        requires_text=_written(entry, "requires"),
        draws=read_draws(shape, entry),
        asks=shape.one_of(entry, "asks", ("yes", "no"), "yes", what="yes or no") == "yes",
        accepted=shape.text(entry, "accepted"),
    )


def read_need(read: Expressions, node: Node, topic: str, taken: dict[str, str]) -> Need | None:
    """Read one need."""
    shape = read.shape
    entry = shape.form(node, NEED)
    if entry is None:
        return None
    name = identifier(shape, entry, taken, topic)
    guard, met = read.read(entry, "applies_when"), read.read(entry, "met_when")
    values: dict[str, Shown] = {}
    for key, value in shape.open_mapping(entry.entries.get("values"), "`values`"):
        found = read.read_node(value, key, None)
        if found is not None:
            values[key] = read.shown(found)
    because, unknown = (read.template(entry, key, values) for key in ("because", "unknown_because"))
    read.examples[name] = read_examples(shape, entry, _MET, ("open",))
    subjects = read.subjects(*(part for part in (guard, *(shown.node for shown in values.values())) if part))
    return Need(
        id=name,
        topic=topic,
        title=shape.text(entry, "title"),
        subjects=subjects,
        guard=guard,
        met=met,
        values=values,
        because=because,
        unknown=unknown,
        source=reference(shape, entry),
        applies_text=_written(entry, "applies_when"),
        fills=read_fills(read, entry),
        work=shape.one_of(entry, "work", ("yes", "no"), "no", what="yes or no") == "yes",
        goes_with=tuple(_named(shape, entry, "goes_with")),
    )


def _named(shape: Shape, entry: Mapping, key: str) -> Iterable[str]:
    """The ids in a list; whether they are there is looked at when all is read."""
    return [node.value or "" for node in shape.items(entry.entries.get(key), f"`{key}`") if isinstance(node, Scalar)]


def hold_to_what_is_there(
    shape: Shape, needs: Iterable[tuple[Need, Node]], rules: Iterable[Rule], asleep: Iterable[str]
) -> None:
    """Complain of a need that goes with what is no rule or need, nor one of another day."""
    needs = list(needs)
    known = [*(rule.id for rule in rules), *(need.id for need, _ in needs), *asleep]
    for need, node in needs:
        for name in need.goes_with:
            if name not in known:
                near = nearest(name, known)
                help = f"did you mean `{near}`?" if near else ""
                shape.complain(node, f"`{need.id}` goes with `{name}`, and there is no such rule or need", help)


def read_limit(read: Expressions, node: Node, topic: str, taken: dict[str, str]) -> tuple[Limit, list[Rule]] | None:
    """Read one limit, and the rules that judge by each of its ratings."""
    shape = read.shape
    entry = shape.form(node, LIMIT)
    if entry is None:
        return None
    name = identifier(shape, entry, taken, topic)
    shape.one_of(entry, "severity", SEVERITIES)
    guard, judged = read.read(entry, "applies_when"), read.read(entry, "judged", None)
    judged_when = read.read(entry, "judged_when")
    if judged is None or not isinstance(judged.type, NumberType):
        if judged is not None:
            shape.complain(entry.entries["judged"], f"`judged` must be a number, this is {judged.type}")
        return None
    read.examples[name] = read_examples(shape, entry, _GIVES, _GIVES[:3])
    source = reference(shape, entry)
    shared = _Judged(
        entry=entry, id=name, topic=topic, source=source, value=judged, guard=guard, judged_when=judged_when
    )
    items = shape.items(entry.entries["lowest_of"], "`lowest_of`")
    members = [member for item in items if (member := _rating(read, item, shared))]
    judged_by = [rating.name for rating, _ in members]
    for item, rating in zip(items, judged_by, strict=False):
        if judged_by.count(rating) > 1:
            shape.complain(item, f"`{rating}` is among the ratings more than once", "name it once")
            break
    limit = Limit(
        id=name,
        topic=topic,
        title=shape.text(entry, "title"),
        quantity=shape.text(entry, "quantity"),
        judged=_written(entry, "judged"),
        ratings=tuple(rating for rating, _ in members),
        source=source,
        applies_text=_written(entry, "applies_when"),
    )
    return limit, [rule for _, rule in members]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """What the ratings of one limit share: its entry and guard, and the value that is judged, and when."""

    entry: Mapping
    id: str
    topic: str
    source: Reference
    value: AnyTyped
    guard: AnyTyped | None
    judged_when: AnyTyped | None


def _rating(read: Expressions, item: Node, limit: _Judged) -> tuple[Rating, Rule] | None:
    """Read one rating, and make the rule that judges by it."""
    shape = read.shape
    if_unknown: IfUnknown = "undetermined"
    own = None
    place: Node = item
    applies = _written(limit.entry, "applies_when")
    if isinstance(item, Mapping):
        entry = shape.form(item, RATING)
        if entry is None:
            return None
        place = entry.entries["rating"]
        if_unknown = shape.one_of(entry, "if_unknown", IF_UNKNOWN, "undetermined")
        own = read.read(entry, "applies_when")
        applies = _all_of(applies, _written(entry, "applies_when"))
    node = read.read_node(place, "rating", limit.value.type)
    if not isinstance(node, typed.Read) or not isinstance(place, Scalar):
        if node is not None:
            shape.complain(place, "a rating is a fact or a derived name", "give the expression a name in `derived`")
        return None
    both = _guard((limit.guard, own))
    rating = Rating(
        name=node.name,
        label=read.label(node.name),
        node=node,
        subjects=read.subjects(both, node),
        guard=both,
        shown=read.shown(node),
    )
    return rating, _within(read, limit, rating, if_unknown, applies)


def _all_of(*conditions: str) -> str:
    """Several conditions written as one that asks for all; in brackets what binds less tightly than `and`."""
    told = [one for one in conditions if one]
    loose = (" or ", " if ")
    return " and ".join(f"({one})" if len(told) > 1 and any(word in one for word in loose) else one for one in told)


def _within(read: Expressions, limit: _Judged, rating: Rating, if_unknown: IfUnknown, applies: str) -> Rule:
    """Make the rule that what is judged is within a rating."""
    shape, entry, judged = read.shape, limit.entry, limit.value
    in_scope = _guard((rating.guard, limit.judged_when))
    requires = typed.LessOrEqual(TRUTH, judged, rating.node)
    margin = read.margin(requires)
    assert margin
    values = {"judged": read.shown(judged), "rating": rating.shown, "margin": margin}
    values = {name: replace(one, told=name) for name, one in values.items()}
    fails = read.template(entry, "fails_because", values) or _default_reason(read, judged, rating.label, values)
    return Rule(
        id=f"{limit.id}/{rating.name}",
        topic=limit.topic,
        title=f"The {shape.text(entry, 'quantity')} is within the {rating.label}",
        subjects=read.subjects(in_scope, requires),
        guard=in_scope,
        requires=requires,
        severity=shape.one_of(entry, "severity", SEVERITIES),
        if_unknown=if_unknown,
        fails=fails,
        unknown=(),
        remedy=shape.text(entry, "remedy"),
        source=limit.source,
        margin=margin,
        applies_text=_all_of(applies, _written(entry, "judged_when")),
        requires_text=f"{_written(entry, 'judged')} <= {rating.name}",
        limit=limit.id,
    )


def _default_reason(read: Expressions, judged: AnyTyped, label: str, values: dict[str, Shown]) -> Template:
    """What is told of a limit without words of its own; one figure may be open where the other settles it."""
    name = read.label(judged.name) if isinstance(judged, typed.Read) else "weight"
    return (
        IfKnown((f"The {name} is ", values["judged"], f"; the {label}"), (f"The {label}",)),
        IfKnown((" is ", values["rating"]), (" is less",)),
        IfKnown((": ", values["margin"], " too much."), (f", which is less than any {name}.",)),
    )
