"""Rules and needs compiled to Python functions that judge a case.

Rules about the same subjects stand in one block, entered only when the question is about them. A fact
that several rules read is fetched once, in the innermost place they share. What rules about any question compute is
at hand in all blocks, so they come first.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext

from fitsvc.engine.verdict import NOTHING_MOOT, Judged, Verdict
from fitsvc.language import typed
from fitsvc.language.compiler import Emitter, every
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.rulebook.rules import Need, Rule, Rulebook

_Rules = Sequence[tuple[int, Rule]]
_Needs = Sequence[tuple[int, Need]]


def compile_rules(rules: _Rules, needs: _Needs, derived: Mapping[str, AnyTyped]) -> Callable[..., Verdict]:
    """Compile rules and needs, each with its number, to one function of (get, present) that returns a `Verdict`."""
    emitter = Emitter(derived)
    emitter.globals |= {"Verdict": Verdict, "new": tuple.__new__, "nothing_moot": NOTHING_MOOT}
    for effect in OUTCOME_OF:
        emitter.line(f"{effect} = []")
    groups = _groups(rules, needs)
    shared = {subjects: _uses(members, derived) for subjects, members in groups.items()}
    across = Counter(node for nodes in shared.values() for node in nodes)
    _fetch(emitter, [node for node, count in across.items() if count > 1 and _plain(node, derived)])
    for subjects, members in groups.items():
        condition = " and ".join(f"{subject!r} in present" for subject in subjects)
        with emitter.block(f"if {condition}:") if condition else nullcontext():
            for subject in subjects:
                emitter.take_present(subject)
            by_guard: dict[AnyTyped | None, list[_Member]] = {}
            for number, member in members:
                by_guard.setdefault(member.guard, []).append((number, member))
            under = {guard: _uses(guarded, derived) for guard, guarded in by_guard.items()}
            guards = Counter(node for nodes in under.values() for node in nodes)
            _fetch(emitter, [node for node, count in guards.items() if count > 1])
            for guard, guarded in by_guard.items():
                _write(emitter, guard, guarded, [node for node, count in under[guard].items() if count > 1])
    emitter.line(f"outcome = {_worst()}")
    emitter.line(f"return new(Verdict, ({', '.join(Verdict._fields[:-2])}, None, nothing_moot))")
    return emitter.function("judge")


class Judges:
    """A rulebook's rules and needs as one function that judges a case, compiled when it is first called.

    Until a case is about more than the first one was, only those that the first is about: the others do not apply,
    and a command that asks one question need not wait for them.
    """

    def __init__(self, rulebook: Rulebook, derived: Mapping[str, AnyTyped]) -> None:
        self._rules, self._needs = list(enumerate(rulebook.rules)), list(enumerate(rulebook.needs))
        judged: list[Rule | Need] = [*rulebook.rules, *rulebook.needs]
        self._subjects = frozenset(subject for one in judged for subject in one.subjects)
        self._derived = derived
        self._all: Callable[..., Verdict] | None = None
        self._some: tuple[frozenset[str], Callable[..., Verdict]] | None = None

    def __call__(self, get: Callable[..., object], present: frozenset[str]) -> Verdict:
        """The verdict on an opened case, rule by rule."""
        return (self._all or self._about(present))(get, present)

    def prepare(self) -> Callable[..., Verdict]:
        """Compile all of them."""
        if self._all is None:
            self._all = compile_rules(self._rules, self._needs, self._derived)
        return self._all

    def _about(self, present: frozenset[str]) -> Callable[..., Verdict]:
        """Those about what a case is about, if it is the first or about no more than the first; else all."""
        subjects = self._subjects & present
        if self._some is None:
            rules = [(number, rule) for number, rule in self._rules if subjects.issuperset(rule.subjects)]
            needs = [(number, need) for number, need in self._needs if subjects.issuperset(need.subjects)]
            self._some = subjects, compile_rules(rules, needs, self._derived)
        first, judge = self._some
        return judge if subjects <= first else self.prepare()


def _worst() -> str:
    """Python text of the worst outcome that anything brings about."""
    text = repr(OUTCOMES[0])
    for outcome in OUTCOMES[1:]:
        effects = [effect for effect, of in OUTCOME_OF.items() if of == outcome]
        text = f"{outcome!r} if {' or '.join(effects)} else {text}"
    return text


def compile_rule(rule: Rule, derived: Mapping[str, AnyTyped]) -> Callable[..., Judged]:
    """Compile one rule to a function of (get, present) that returns its result."""
    emitter = Emitter(derived)
    for subject in rule.subjects:
        emitter.line(f"if {subject!r} not in present: return 'not_applicable'")
        emitter.take_present(subject)
    if rule.guard is not None:
        emitter.line(f"if {emitter.no(rule.guard)}: return 'not_applicable'")
    emitter.line(f"if {emitter.yes(rule.requires)}: return 'passes'")
    sure = emitter.yes(rule.guard) if rule.guard is not None else "True"
    emitter.line(f"return 'fails' if {every([emitter.no(rule.requires), sure])} else 'undetermined'")
    return emitter.function("judge_rule")


_Member = tuple[int, Rule | Need]


def _groups(rules: _Rules, needs: _Needs) -> dict[tuple[str, ...], list[_Member]]:
    groups: dict[tuple[str, ...], list[_Member]] = {(): []}
    members: list[_Member] = [*rules, *needs]
    for number, member in members:
        groups.setdefault(member.subjects, []).append((number, member))
    return groups


def _uses(members: Sequence[_Member], derived: Mapping[str, AnyTyped]) -> Counter[AnyTyped]:
    """How many of the rules use each fact and derived value."""
    uses: Counter[AnyTyped] = Counter()
    for _, member in members:
        roots = (member.guard, member.requires if isinstance(member, Rule) else member.met)
        found: dict[AnyTyped, None] = {}
        for root in roots:
            if root is not None:
                _collect(root, derived, found)
        uses.update(list(found))
    return uses


def _collect(node: AnyTyped, derived: Mapping[str, AnyTyped], found: dict[AnyTyped, None]) -> None:
    """Note each fact and derived value that a node uses, through each derived value once."""
    if isinstance(node, Read):
        if node in found:
            return
        found[node] = None
        below = derived.get(node.name)
        if below is not None:
            _collect(below, derived, found)
        return
    for part in typed.parts(node):
        _collect(part, derived, found)


def _plain(node: AnyTyped, derived: Mapping[str, AnyTyped]) -> bool:
    """Whether a node is a fact, cheap enough to fetch where it may not be needed."""
    return isinstance(node, Read) and node.name not in derived


def _fetch(emitter: Emitter, nodes: Sequence[AnyTyped]) -> None:
    for node in nodes:
        emitter.value(node)


def _write(emitter: Emitter, guard: AnyTyped | None, members: Sequence[_Member], shared: Sequence[AnyTyped]) -> None:
    """Write the rules and needs under one guard: entered unless it is surely no, and then with what they share."""
    surely_not = emitter.no(guard) if guard is not None else "False"
    if surely_not == "True":
        return
    if surely_not == "False":
        _fetch(emitter, shared)
        _judge(emitter, guard, members)
    else:
        with emitter.block(f"if not ({surely_not}):"):
            _fetch(emitter, shared)
            _judge(emitter, guard, members)


def _judge(emitter: Emitter, guard: AnyTyped | None, members: Sequence[_Member]) -> None:
    for number, member in members:
        if isinstance(member, Need):
            met = emitter.yes(member.met) if member.met is not None else "False"
            emitter.line(f"if not ({met}): open_needs.append({number})")
        else:
            _judge_rule(emitter, guard, number, member)


def _judge_rule(emitter: Emitter, guard: AnyTyped | None, number: int, rule: Rule) -> None:
    """Passes where the requirement is surely met; fails where it is surely not, and the guard surely yes."""
    effects = rule.effects
    emitter.line(f"if {emitter.yes(rule.requires)}: {effects['passes']}.append({number})")
    with emitter.block("else:"):
        sure = emitter.yes(guard) if guard is not None else "True"
        emitter.line(f"if {every([emitter.no(rule.requires), sure])}: {effects['fails']}.append({number})")
        emitter.line(f"else: {effects['undetermined']}.append({number})")
