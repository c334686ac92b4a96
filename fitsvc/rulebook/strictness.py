"""Whether what an overlay changes lets more pass than the core does, and telling it where it says so by name.

Two expressions cannot be compared in general, and whether rules load must not hang on a solver being there. So what
counts as stricter is what shows by its form: a condition more under `and`, a lower figure that something must stay
below, a wider `applies_when`, a graver severity. Whatever else is changed counts as loosening and needs `loosens: yes`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields, replace
from typing import Final, NamedTuple

from fitsvc.language import typed
from fitsvc.language.truth import NO
from fitsvc.language.typed import ALWAYS, AnyTyped
from fitsvc.language.types import TRUTH
from fitsvc.rulebook.cautions import read_caution
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, Result
from fitsvc.rulebook.overlay import CoreChange
from fitsvc.rulebook.rules import Caution, Need, Reference, Rule
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.topics import read_limit, read_need, read_rule
from fitsvc.rulebook.yaml_text import Mapping, to_plain
from fitsvc.tongues import later, t

_NEVER: Final = typed.Constant(TRUTH, NO)
_FREE: Final = frozenset(
    ("title", "fails", "unknown", "because", "remedy", "margin", "applies_text", "requires_text", "accepted")
)
_LOOKED_AT: Final = frozenset(("source", "subjects", "guard", "requires", "met", "severity", "if_unknown"))
_RESULTS: Final[tuple[Result, ...]] = ("fails", "undetermined")
_MILDER: Final = {
    "fails": later("where it fails the answer is milder"),
    "undetermined": later("where it is not decided the answer is milder"),
}
_SAID_UNDER: Final = {"fails": ("severity",), "undetermined": ("if_unknown", "severity", "lowest_of")}
_READING: Final = ("requires", "judged", "lowest_of", "met_when", "applies_when", "text")


def surely_within(one: AnyTyped, other: AnyTyped) -> bool:
    """Whether by their form the second of two conditions holds wherever the first may, and fails only where it does.

    No says only that their form does not show it.
    """
    match one, other:
        case _ if one in (other, _NEVER) or other == ALWAYS:
            return True
        case typed.Some(operands=parts), _:
            return all(surely_within(part, other) for part in parts)
        case _, typed.All(operands=parts):
            return all(surely_within(one, part) for part in parts)
        case typed.Not(operand=inner), typed.Not(operand=outer):
            return surely_within(outer, inner)
        case typed.LessOrEqual(left=less, right=most), typed.LessOrEqual(left=old_less, right=old_most):
            return _not_above(old_less, less) and _not_above(most, old_most)
        case typed.Membership(operand=of, mask=mask), typed.Membership(operand=old_of, mask=old_mask):
            return of == old_of and mask & ~old_mask == 0
        case _, typed.Some(operands=parts):
            return any(surely_within(one, part) for part in parts) or _one_of(one, other)
        case _:
            return _one_of(one, other)


def _one_of(one: AnyTyped, other: AnyTyped) -> bool:
    """Whether a condition asks for several, of which one is enough."""
    return isinstance(one, typed.All) and any(surely_within(part, other) for part in one.operands)


def _not_above(one: AnyTyped, other: AnyTyped) -> bool:
    """Whether one number is surely the other, or a figure that is not above it."""
    if isinstance(one, typed.Constant) and isinstance(other, typed.Constant):
        low, high = one.value, other.value
        return isinstance(low, tuple) and isinstance(high, tuple) and low[0] <= high[0] and low[1] <= high[1]
    return one == other


class Looser(NamedTuple):
    """What of an entry may let more pass than it did, empty where nothing does; and the keys that it is said under."""

    why: str = ""
    keys: tuple[str, ...] = ()


def why_looser(old: Rule | Need | Caution, new: Rule | Need | Caution) -> Looser:
    """What of a rule, need or caution may let more pass than it did."""
    if not surely_within(old.guard or ALWAYS, new.guard or ALWAYS):
        return Looser(t("where it applies is not shown to be as wide as before"), ("applies_when", "judged_when"))
    if silent := sorted(set(new.subjects) - set(old.subjects)):
        named = ", ".join(f"`{one}`" for one in silent)
        return Looser(t("it is silent now where a question leaves out {subjects}", subjects=named), _READING)
    if isinstance(old, Rule) and isinstance(new, Rule):
        for result in _RESULTS:
            before, after = (OUTCOME_OF[one.effects[result]] for one in (old, new))
            if OUTCOMES.index(after) < OUTCOMES.index(before):
                return Looser(t(_MILDER[result]), _SAID_UNDER[result])
        if not surely_within(new.requires, old.requires):
            return Looser(t("what it requires is not shown to be as strict as before"), _READING)
    if isinstance(old, Need) and isinstance(new, Need) and not surely_within(new.met or _NEVER, old.met or _NEVER):
        return Looser(t("when it is met is not shown to be as strict as before"), ("met_when",))
    other = [one.name for one in fields(old) if one.name not in _FREE | _LOOKED_AT]
    changed = [name for name in other if getattr(old, name) != getattr(new, name)]
    return Looser(t("its {field} is another", field=changed[0]), (changed[0],)) if changed else Looser()


@dataclass(frozen=True, slots=True)
class _Weighed:
    """What a change is of, as it was, for whom it is told; and what of it may let more pass."""

    title: str
    subjects: tuple[str, ...]
    guard: AnyTyped | None
    looser: Looser
    is_titled: bool = True
    """Whether what is read out where it passes is true then: the title of a rule that requires less is another."""


def loosened(read: Expressions, changes: Iterable[CoreChange], name: str) -> Iterator[Caution]:
    """What answers tell of the changes that let more pass; a complaint of each that does not say so by itself."""
    for change in changes:
        weighed = _weighed(read, change)
        if weighed is None:  # it cannot be read, of which enough is said
            continue
        why, keys = weighed.looser
        if why and not change.loosens:
            mark = change.old.mark
            help = "make it stricter, write a rule of your own, or say `loosens: yes`, which answers then tell"
            told = f"`{change.of}` may let more pass than in {mark.file}, line {mark.line}: {why}"
            _complain(read, change, keys, told, help)
        elif change.loosens and not why:
            told = f"`{change.of}` is no looser, so it has nothing to allow"
            _complain(read, change, ("loosens",), told, "take `loosens` out")
        elif not weighed.is_titled:
            told = f"`{change.of}` requires other than before, and is told where it passes by the core's `title`"
            _complain(read, change, keys, told, "write beside it a `title` that is true then")
        elif why:
            yield Caution(
                id=f"looser-{change.of.replace('.', '-').replace('_', '-')}",
                text=(f"{name} lets more pass than the rules it adds to, at “{weighed.title}”: {change.because}",),
                subjects=weighed.subjects,
                guard=weighed.guard,
                source=Reference("estimate", because=change.because),
            )


def _complain(read: Expressions, change: CoreChange, keys: Iterable[str], told: str, help: str) -> None:
    """Note a problem at the first of some keys that the change has, else where the change begins."""
    key = next((key for key in keys if key in change.place.starts), "of")
    read.shape.problems.append(change.place.problem_at_key(key, told, help))


def looser_by(read: Expressions, change: CoreChange) -> str:
    """What of a change may let more pass; empty where nothing does, or where it cannot be read."""
    weighed = _weighed(read, change)
    return weighed.looser.why if weighed else ""


def _weighed(read: Expressions, change: CoreChange) -> _Weighed | None:
    if change.section == "tables":
        return _Weighed(
            read.shape.text(change.old, "title"), (), None, Looser(_of_table(change), ("rows", "bands", "points"))
        )
    if change.section == "derived":
        why = "what rests on it is not shown to be as strict as before" if _differs(change, "is") else ""
        return _Weighed(read.shape.text(change.old, "label"), (), None, Looser(why, ("is",)))
    old, new = (_entries(read, change, entry) for entry in (change.old, change.new))
    if not old or not new:
        return None
    after = {one.id: one for one in new}
    whys = [why_looser(one, after[one.id]) if one.id in after else _gone(one.id) for one in old]
    title = read.shape.text(change.old, "title") if change.section != "cautions" else change.of
    guard = old[0].guard if len(old) == 1 else None
    subjects = tuple(one for one in old[0].subjects if all(one in other.subjects for other in old))
    looser = next((one for one in whys if one.why), Looser())
    return _Weighed(title, subjects, guard, looser, change.section != "rules" or _is_titled(old[0], new[0]))


def _gone(name: str) -> Looser:
    return Looser(t("`{name}` is gone", name=name), ("lowest_of",))


def _is_titled(old: Rule | Need | Caution, new: Rule | Need | Caution) -> bool:
    """Whether a rule's title is another, where what it requires is not shown to be as strict as it was."""
    if not isinstance(old, Rule) or not isinstance(new, Rule):
        return True
    return old.title != new.title or surely_within(new.requires, old.requires)


def _entries(read: Expressions, change: CoreChange, entry: Mapping) -> list[Rule | Need | Caution]:
    """A rule, need or caution as an entry says it, or the rules of a limit; none where it cannot be read."""
    apart = replace(read, shape=Shape(), presences=set(), examples={})
    readers: dict[str, Callable[[], object]] = {
        "rules": lambda: read_rule(apart, entry, change.topic, {}),
        "needs": lambda: read_need(apart, entry, change.topic, {}),
        "cautions": lambda: read_caution(apart, entry, {}),
        "limits": lambda: read_limit(apart, entry, change.topic, {}),
    }
    found = readers[change.section]()
    if isinstance(found, tuple):
        return [*found[1]]
    return [found] if isinstance(found, Rule | Need | Caution) else []


def _of_table(change: CoreChange) -> str:
    """Rows may be added to a table; a figure that is there is as strict or not as what looks it up."""
    old, new = (one.entries.get("rows") for one in (change.old, change.new))
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        row = next((row for row in old.entries if to_plain(old.entries[row]) != to_plain(new.entries[row])), "")
        if row:
            return f"its row `{row}` is another"
    if _differs(change, "points"):
        return "its points are others"
    return "its bands are others" if _differs(change, "bands") else ""


def _differs(change: CoreChange, key: str) -> bool:
    old, new = change.old.entries.get(key), change.new.entries.get(key)
    return old is not None and new is not None and to_plain(old) != to_plain(new)
