"""The rules as SQL, written from the same checked tree as a database engineer would write them by hand.

A number is two columns, its ends; a list value a bit mask; a condition two boolean expressions, surely yes and
surely no. What depends on the rig alone is computed before and stands as a literal, or as a column of a table of
rigs; what depends on the items alone is a column of the table of items, computed when the table is made. A rule's
result is 0 passes, 1 fails, 2 undetermined, 3 not applicable.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any, assert_never

import numpy as np

from fitsvc.engine.columns.programs import Member, Program
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.columns.views import ItemValues
from fitsvc.language import typed
from fitsvc.language.intervals import TINY_DIVISOR, TOLERANCE
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import AnyTyped, join
from fitsvc.language.types import ListType, NumberType, Type, Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, Outcome
from fitsvc.rulebook.rules import Need, Rule

Ends = tuple[str, str]
_LONG = 4000
"""A part with more characters gets a name; shorter ones are faster written out: the database may pass them over."""


def figure(x: float) -> str:
    """A float as a SQL literal."""
    return f"'{'-' if x < 0 else ''}inf'::DOUBLE" if abs(x) == inf else f"{x!r}::DOUBLE"


def constant(kind: Type, value: Value) -> Any:
    """A value as SQL."""
    if isinstance(value, tuple):
        return (figure(value[0]), figure(value[1]))
    if isinstance(kind, ListType):
        return f"{value}::BIGINT"
    return (str(value == YES).lower(), str(value == NO).lower())


def column(kind: Type, name: str) -> Any:
    """The columns of a table that hold a value: ends, a mask, or surely yes and surely no."""
    if isinstance(kind, NumberType):
        return (f"{name}_lo", f"{name}_hi")
    return name if isinstance(kind, ListType) else (f"{name}_y", f"{name}_n")


def every(parts: list[str]) -> str:
    """Conjunction, with what is settled left out."""
    left = [part for part in dict.fromkeys(parts) if part != "true"]
    return "false" if "false" in left else f"({' AND '.join(left)})" if left else "true"


def some(parts: list[str]) -> str:
    """Disjunction, with what is settled left out."""
    left = [part for part in dict.fromkeys(parts) if part != "false"]
    return "true" if "true" in left else f"({' OR '.join(left)})" if left else "false"


def case(yes: str, no: str, then: str, otherwise: str, unknown: str) -> str:
    """The value by a condition."""
    if "true" in (yes, no):
        return then if yes == "true" else otherwise
    if then == otherwise == unknown:
        return then
    return f"CASE WHEN {yes} THEN {then} WHEN {no} THEN {otherwise} ELSE {unknown} END"


def product(x: str, y: str) -> str:
    """Product in which nothing times infinity is nothing."""
    return f"CASE WHEN {x} = 0 OR {y} = 0 THEN 0 ELSE {x} * {y} END"


def times(a: Ends, b: Ends) -> Ends:
    """Product over bounds."""
    ends = ", ".join(product(x, y) for x in a for y in b)
    return (f"least({ends})", f"greatest({ends})")


def over(a: Ends, b: Ends) -> Ends:
    """Quotient over bounds."""
    apart, zero = f"({b[0]} > 0 OR {b[1]} < 0)", f"({b[0]} = 0 AND ({a[0]} >= 0 OR {a[1]} <= 0))"
    inverse = (f"(1.0 / {b[1]})", f"(1.0 / {b[0]})")
    from_zero = (f"(1.0 / greatest({b[1]}, {TINY_DIVISOR}))", "'inf'::DOUBLE")
    first, second = times(a, inverse), times(a, from_zero)
    return tuple(  # type: ignore[return-value]  # a pair, made of a generator
        f"CASE WHEN {apart} THEN {x} WHEN {zero} THEN {y} ELSE {figure(open_)} END"
        for x, y, open_ in zip(first, second, (-inf, inf), strict=True)
    )


def above(a: Ends) -> Ends:
    """Not below nothing."""
    return (f"greatest({a[0]}, 0.0)", f"greatest({a[1]}, 0.0)")


def _relief(weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    """W d/L: all three are not below nothing, so each end is one product."""
    w, d, base = above(weight), above(behind), above(wheelbase)
    low = f"CASE WHEN {base[1]} = 'inf'::DOUBLE THEN 0 ELSE {d[0]} / greatest({base[1]}, {TINY_DIVISOR}) END"
    high = f"CASE WHEN {d[1]} = 0 THEN 0 WHEN {base[0]} = 0 THEN 'inf'::DOUBLE ELSE {d[1]} / {base[0]} END"
    return (f"{w[0]} * ({low})", product(w[1], f"({high})"))


def _share(weight: Ends, behind: Ends, wheelbase: Ends) -> Ends:
    relief = _relief(weight, behind, wheelbase)
    return (f"({weight[0]} + {relief[0]})", f"({weight[1]} + {relief[1]})")


def _magnitude(a: Ends) -> Ends:
    low, high = a
    return (
        f"CASE WHEN {low} >= 0 THEN {low} WHEN {high} <= 0 THEN -{high} ELSE 0.0 END",
        f"CASE WHEN {low} >= 0 THEN {high} WHEN {high} <= 0 THEN -{low} ELSE greatest(-{low}, {high}) END",
    )


def _span(a: Ends, b: Ends) -> Ends:
    order = f"{a[0]} <= {b[1]}"
    return (f"CASE WHEN {order} THEN {a[0]} ELSE {b[1]} END", f"CASE WHEN {order} THEN {b[1]} ELSE {a[0]} END")


def _within(x: str) -> str:
    return f"least(greatest({x}, 0.0), 1e100)"


def _less(x: str, y: str) -> str:
    return f"CASE WHEN {x} = 'inf'::DOUBLE THEN {x} ELSE {x} - greatest({y}, 0.0) END"


def _angle(behind: str, height: str, radius: str) -> str:
    x, h, r = _within(behind), _within(height), _within(radius)
    tangent = f"sqrt(greatest({x} * {x} + {h} * ({h} - 2.0 * {r}), 0.0))"
    return f"least(degrees(2.0 * atan2({h}, {x} + {tangent})), 90.0)"


def _rise(behind: str, height: str, radius: str, wheelbase: str) -> str:
    return product(f"greatest({wheelbase}, 0.0)", f"sin(radians({_angle(behind, height, radius)}))")


def _hypot(x: str, y: str) -> str:
    far = f"greatest({x}, {y})"
    return f"CASE WHEN {far} = 'inf'::DOUBLE THEN {far} ELSE sqrt({x} * {x} + {y} * {y}) END"


def _swing(behind: str, beside: str, length: str) -> str:
    return _less(f"({_hypot(f'greatest({behind}, 0.0)', f'greatest({beside}, 0.0)')})", length)


def _swing_reach(beside: str, length: str) -> str:
    y, free = f"greatest({beside}, 0.0)", f"greatest({length}, 0.0)"
    corner = f"least({y}, {free})"
    return (
        f"CASE WHEN {free} = 'inf'::DOUBLE AND {y} < 'inf'::DOUBLE THEN {free} "
        f"WHEN {free} = 'inf'::DOUBLE THEN 0.0 ELSE sqrt(({free} - {corner}) * ({free} + {corner})) END"
    )


def _drop(behind: str, over_hinge: str, length: str) -> str:
    return f"greatest({_less(f'greatest({behind}, 0.0)', length)}, -({over_hinge}))"


def _turn(ball: str, part: str, half: str) -> str:
    b, j, k = _within(ball), _within(part), _within(half)
    turned = f"atan2({j}, {k}) + atan2({b}, sqrt(greatest({j} * {j} + {k} * {k} - {b} * {b}, 0.0)))"
    return f"CASE WHEN {b} >= {k} THEN 90.0 ELSE least(degrees({turned}), 90.0) END"


def _pull(vehicle: str, trailer: str) -> str:
    a, b = f"greatest({vehicle}, 0.0)", f"greatest({trailer}, 0.0)"
    light, heavy = f"least({a}, {b})", f"greatest({a}, {b})"
    share = f"CASE WHEN {heavy} > 0 AND {heavy} < 'inf'::DOUBLE THEN {light} / {heavy} ELSE 0.0 END"
    return f"0.00981 * {light} / (1.0 + {share})"


def _at_pitch(x: str, h: str, r: str, pitch: str) -> str:
    up, down = f"({product(h, f'cos({pitch})')})", f"({product(x, f'sin({pitch})')})"
    turned = product(r, f"(1.0 - cos({pitch}))")
    open_ = f"{down} = 'inf'::DOUBLE OR {up} = '-inf'::DOUBLE"
    return f"CASE WHEN {open_} THEN '-inf'::DOUBLE ELSE {up} - {down} + ({turned}) END"


def _on_grade(behind: Ends, height: Ends, radius: Ends, grade: Ends) -> Ends:
    (near, far), h, r = above(behind), height, above(radius)
    least, most = (f"atan({end})" for end in above(grade))
    lowest = f"least(greatest(atan2({far}, {r[0]} - {h[0]}), {least}), {most})"
    highest = f"greatest({_at_pitch(near, h[1], r[1], least)}, {_at_pitch(near, h[1], r[1], most)})"
    return (_at_pitch(far, h[0], r[0], lowest), highest)


def _scaled(reading: Ends, from_support: Ends, to_scale: Ends) -> Ends:
    return _share(above(reading), to_scale, from_support)


_FORMULAS: dict[str, Callable[..., str]] = {
    "departure_angle": _angle,
    "touching_rise": _rise,
    "swing_clearance": _swing,
    "drop_clearance": _drop,
    "swing_reach": _swing_reach,
    "turning_angle": _turn,
    "d_value": _pull,
    "angle_of_grade": lambda g: f"degrees(atan({g}))",
    "grade_of_angle": lambda a: f"tan(radians(least(greatest({a}, -90.0), 90.0)))",
    "min": lambda *each: f"least({', '.join(each)})",
    "max": lambda *each: f"greatest({', '.join(each)})",
}
_OVER_BOUNDS: dict[str, Callable[..., Ends]] = {
    "abs": _magnitude,
    "span": _span,
    "rear_axle_share": _share,
    "front_axle_relief": _relief,
    "clearance_on_grade": _on_grade,
    "scaled_tongue_weight": _scaled,
}


@dataclass(frozen=True)
class Query:
    """What a rulebook comes to: named parts, in order, the SQL of each rule's and need's result from these, and of the
    outcome from all of them.
    """

    parts: list[tuple[str, str]]
    results: list[str]
    outcome: str


def judged(query: Query, key: str, source: str, named: Sequence[str] = ()) -> str:
    """The query for every result and the outcome, a part a line; `named` are words to put above the results."""
    lines = [f"{text} AS {name}" for name, text in query.parts]
    for place, text in enumerate(query.results):
        above = f"-- {named[place]}\n    " if named else ""
        lines.append(f"{above}{text} AS r{place}")
    results = ", ".join(f"r{place}" for place in range(len(query.results)))
    inner = ",\n    ".join([key, "w", *lines])
    return (
        f"SELECT {key}, w, {results},\n  {query.outcome} AS outcome\nFROM (\n  SELECT\n    {inner}\n  FROM {source}\n)"
    )


class Translator:
    """Writes parts of a program's graph as SQL. `rig` gives the SQL of a part that depends on the rig alone."""

    def __init__(self, program: Program, rig: Callable[[int], Any]) -> None:
        self.graph, self.program, self.rig = program.graph, program, rig
        self._items = set(program.items)
        self._written: dict[int, Any] = {}
        self.parts: list[tuple[str, str]] = []

    def of(self, number: int) -> Any:
        """The SQL of a part."""
        if number not in self._written:
            step = self.graph.steps[number]
            if isinstance(step.node, typed.Constant):
                self._written[number] = constant(step.node.type, step.node.value)
            elif not step.on_items:
                self._written[number] = self.rig(number)
            elif not step.on_rig:
                self._written[number] = column(step.node.type, f"i{number}")
            else:
                self._written[number] = self._named(number, self._form(step.node, *step.operands))
        return self._written[number]

    def _form(self, node: AnyTyped, *operands: int) -> Any:
        match node:
            case typed.Constant():
                return constant(node.type, node.value)
            case typed.Read() | typed.Present():
                raise AssertionError(f"{node} depends on the rig alone, or on the items alone")
            case typed.Negative():
                return self._negative(*operands)
            case typed.Arithmetic():
                return self._arithmetic(node, *operands)
            case typed.LessOrEqual():
                return self._less_or_equal(*operands)
            case typed.Equal():
                return self._equal(*operands)
            case typed.SameMember():
                return self._same_member(*operands)
            case typed.Membership():
                return self._membership(node, *operands)
            case typed.Not():
                return self.of(operands[0])[::-1]
            case typed.All():
                return self._all(*operands)
            case typed.Some():
                return self._some(*operands)
            case typed.Conditional():
                return self._conditional(node, *operands)
            case typed.Apply():
                return self._apply(node, *operands)
            case typed.LookupMember():
                return self._by_member(node.type, self.of(operands[0]), node.values)
            case typed.LookupBand():
                return self._lookup_band(node, *operands)
            case typed.LookupBetween():
                return self._lookup_between(node, *operands)
            case typed.Known():
                return self._known(*operands)
            case _:
                assert_never(node)

    def _named(self, number: int, written: Any) -> Any:
        """A part's SQL under a name of its own, if it is long: what is used twice is written once."""
        numeric = isinstance(self.graph.steps[number].node.type, NumberType)
        texts = [written] if isinstance(written, str) else list(written)
        ends = [""] if isinstance(written, str) else ["_lo", "_hi"] if numeric else ["_y", "_n"]
        for place, (text, end) in enumerate(zip(texts, ends, strict=True)):
            if len(text) > _LONG:
                texts[place] = f"p{number}{end}"
                self.parts.append((texts[place], text))
        return texts[0] if isinstance(written, str) else tuple(texts)

    def _negative(self, operand: int) -> Ends:
        low, high = self.of(operand)
        return (f"(-{high})", f"(-{low})")

    def _arithmetic(self, node: typed.Arithmetic, left: int, right: int) -> Ends:
        a, b = self.of(left), self.of(right)
        if node.operator in "+-":
            c = b if node.operator == "+" else (b[1], b[0])
            return (f"({a[0]} {node.operator} {c[0]})", f"({a[1]} {node.operator} {c[1]})")
        if node.operator == "/":
            return over(a, b)
        if not node.type.negative:
            return (f"({a[0]} * {b[0]})", f"({product(a[1], b[1])})")
        return times(a, b)

    def _less_or_equal(self, left: int, right: int) -> tuple[str, str]:
        a, b = self.of(left), self.of(right)
        return (f"({a[1]} <= {b[0]} + {TOLERANCE})", f"({a[0]} > {b[1]} + {TOLERANCE})")

    def _equal(self, left: int, right: int) -> tuple[str, str]:
        a, b = self.of(left), self.of(right)
        apart = f"({a[0]} > {b[1]} + {TOLERANCE} OR {b[0]} > {a[1]} + {TOLERANCE})"
        return (f"({a[1]} <= {b[0]} + {TOLERANCE} AND {b[1]} <= {a[0]} + {TOLERANCE})", apart)

    def _same_member(self, left: int, right: int) -> tuple[str, str]:
        a, b = self.of(left), self.of(right)
        return (f"({a} = {b} AND {a} & ({a} - 1) = 0)", f"({a} & {b} = 0)")

    def _membership(self, node: typed.Membership, operand: int) -> tuple[str, str]:
        value = self.of(operand)
        return (f"({value} & {node.others} = 0)", f"({value} & {node.mask} = 0)")

    def _all(self, *operands: int) -> tuple[str, str]:
        tests = [self.of(operand) for operand in operands]
        return (every([yes for yes, _ in tests]), some([no for _, no in tests]))

    def _some(self, *operands: int) -> tuple[str, str]:
        tests = [self.of(operand) for operand in operands]
        return (some([yes for yes, _ in tests]), every([no for _, no in tests]))

    def _conditional(self, node: typed.Conditional, condition: int, then: int, otherwise: int) -> Any:
        (yes, no), a, b = self.of(condition), self.of(then), self.of(otherwise)
        if isinstance(node.type, NumberType):
            return (
                case(yes, no, a[0], b[0], f"least({a[0]}, {b[0]})"),
                case(yes, no, a[1], b[1], f"greatest({a[1]}, {b[1]})"),
            )
        if isinstance(node.type, ListType):
            return case(yes, no, a, b, f"({a} | {b})")
        return tuple(
            some([every([yes, x]), every([no, y]), every([f"NOT ({yes})", f"NOT ({no})", x, y])])
            for x, y in zip(a, b, strict=True)
        )

    def _apply(self, node: typed.Apply, *arguments: int) -> Ends:
        row, ends = node.function, [self.of(argument) for argument in arguments]
        if row.name in _OVER_BOUNDS:
            return _OVER_BOUNDS[row.name](*ends)
        directions = row.moves(len(ends))
        form = _FORMULAS[row.name]
        low = [pair[0] if d > 0 else pair[1] for pair, d in zip(ends, directions, strict=True)]
        high = [pair[1] if d > 0 else pair[0] for pair, d in zip(ends, directions, strict=True)]
        return (f"({form(*low)})", f"({form(*high)})")

    def _by_member(self, kind: Type, mask: str, values: Any) -> Any:
        def chosen(text: Callable[[Any], str], nothing: str, name: str) -> str:
            cells = ", ".join(
                f"CASE WHEN {mask} & {1 << i} != 0 THEN {text(v)} ELSE {nothing} END" for i, v in enumerate(values)
            )
            return f"{name}({cells})"

        if isinstance(kind, NumberType):
            return (
                chosen(lambda v: figure(v[0]), figure(inf), "least"),
                chosen(lambda v: figure(v[1]), figure(-inf), "greatest"),
            )
        if isinstance(kind, ListType):
            return (
                "("
                + " | ".join(f"CASE WHEN {mask} & {1 << i} != 0 THEN {v} ELSE 0 END" for i, v in enumerate(values))
                + ")"
            )
        return tuple(f"({mask} & {sum(1 << i for i, v in enumerate(values) if v != want)} = 0)" for want in (YES, NO))

    def _lookup_band(self, node: typed.LookupBand, key: int) -> Any:
        low, high = self.of(key)
        tops = [figure(top + TOLERANCE) for top in node.tops]
        whens = []
        for first in range(len(node.values)):
            for last in range(first, len(node.values)):
                first_in = f"{low} <= {tops[first]}" if first < len(tops) else "true"
                last_in = f"{high} <= {tops[last]}" if last < len(tops) else "true"
                whens.append((f"{first_in} AND {last_in}", join(node.type, node.values[first : last + 1])))
        written = [(test, constant(node.type, value)) for test, value in whens]
        if isinstance(node.type, ListType):
            return "CASE " + " ".join(f"WHEN {test} THEN {value}" for test, value in written) + " END"
        return tuple(
            "CASE " + " ".join(f"WHEN {test} THEN {value[end]}" for test, value in written) + " END" for end in (0, 1)
        )

    def _lookup_between(self, node: typed.LookupBetween, key: int) -> Ends:
        low, high = self.of(key)
        at, heights = node.at, [value for value, _ in node.values]

        def on_line(x: str) -> str:
            lines = [
                f"{heights[i]!r} + ({x} - {figure(at[i])}) / {at[i + 1] - at[i]!r} * {heights[i + 1] - heights[i]!r}"
                for i in range(len(at) - 1)
            ]
            whens = [f"WHEN {x} <= {figure(top)} THEN {line}" for top, line in zip(at[1:-1], lines, strict=False)]
            return f"CASE {' '.join(whens)} ELSE {lines[-1]} END" if whens else lines[-1]

        inside = f"{low} >= {figure(at[0] - TOLERANCE)} AND {high} <= {figure(at[-1] + TOLERANCE)}"
        reached = [on_line(f"least(greatest({x}, {figure(at[0])}), {figure(at[-1])})") for x in (low, high)]
        crossed = [
            f"CASE WHEN {low} < {figure(x)} AND {figure(x)} < {high} THEN {y!r} END"  # NULL where it is not
            for x, y in zip(at[1:-1], heights[1:-1], strict=True)
        ]
        unknown = constant(node.type, node.type.unknown)
        found = [f"{which}({', '.join([*reached, *crossed])})" for which in ("least", "greatest")]
        ends = [f"CASE WHEN {inside} THEN {one} ELSE {open_} END" for one, open_ in zip(found, unknown, strict=True)]
        return (ends[0], ends[1])

    def _known(self, operand: int) -> tuple[str, str]:
        value, kind = self.of(operand), self.graph.steps[operand].node.type
        if isinstance(kind, NumberType):
            return (f"({value[0]} > '-inf'::DOUBLE AND {value[1]} < 'inf'::DOUBLE)", "false")
        if isinstance(kind, ListType):
            return (f"({value} != {kind.unknown})", "false")
        return (some(list(value)), "false")

    def result(self, member: Member) -> str:
        """The result of a rule or need."""
        gate = [self.of(number) for number in member.gate]
        applies, silent = every([yes for yes, _ in gate]), some([no for _, no in gate])
        met, unmet = ("false", "true") if member.requires is None else self.of(member.requires)
        if isinstance(member.of, Need):
            return f"CASE WHEN {silent} THEN 3 WHEN {met} THEN 3 ELSE 1 END::TINYINT"
        fails = every([applies, unmet])
        return f"CASE WHEN {silent} THEN 3 WHEN {met} THEN 0 WHEN {fails} THEN 1 ELSE 2 END::TINYINT"

    def query(self) -> Query:
        """All results, under the names r0, r1 ..., and the outcome from these."""
        results = [self.result(member) for member in self.program.members]
        tests: dict[Outcome, list[str]] = {outcome: [] for outcome in OUTCOMES}
        for i, member in enumerate(self.program.members):
            tests[OUTCOME_OF[member.of.effects["fails"]]].append(f"r{i} = 1")
            if isinstance(member.of, Rule):
                tests[OUTCOME_OF[member.of.effects["undetermined"]]].append(f"r{i} = 2")
        whens = [f"WHEN {some(tests[outcome])} THEN {OUTCOMES.index(outcome)}" for outcome in OUTCOMES[:0:-1]]
        return Query(self.parts, results, f"CASE {' '.join(whens)} ELSE 0 END::TINYINT")


def item_table(program: Program, catalogue: Catalogue) -> dict[str, Any]:
    """The table of items: a row a signature, its weight, and what depends on items alone."""
    items = ItemValues(program, catalogue)
    table: dict[str, Any] = {"id": np.arange(catalogue.count, dtype=np.int32), "w": catalogue.weights}
    for number in program.items:
        _put(table, program.graph.steps[number].node.type, f"i{number}", items.of(number))
    return table


def rig_table(program: Program, values: list[tuple[Value, ...]]) -> dict[str, Any]:
    """The table of rigs: a row a rig, and what depends on the rig alone."""
    table: dict[str, Any] = {"rig": np.arange(len(values), dtype=np.int32)}
    for place, number in enumerate(program.rig):
        kind = program.graph.steps[number].node.type
        cells = [row[place] for row in values]
        if isinstance(kind, NumberType):
            ends = np.array(cells, np.float64)
            _put(table, kind, f"g{number}", (ends[:, 0].copy(), ends[:, 1].copy()))
        else:
            _put(table, kind, f"g{number}", np.array(cells, np.uint64))
    return table


def _put(table: dict[str, Any], kind: Type, name: str, cells: Any) -> None:
    if isinstance(kind, NumberType):
        table[f"{name}_lo"], table[f"{name}_hi"] = cells
    elif isinstance(kind, ListType):
        table[name] = cells.astype(np.int64)
    else:
        table[f"{name}_y"], table[f"{name}_n"] = cells == YES, cells == NO


def with_literals(program: Program, values: tuple[Value, ...]) -> Translator:
    """A translator in which one rig's values stand as literals."""
    return Translator(
        program, lambda number: constant(program.graph.steps[number].node.type, values[program.place[number]])
    )


def with_rig_columns(program: Program) -> Translator:
    """A translator in which the rig's values are columns of a table of rigs."""
    return Translator(program, lambda number: column(program.graph.steps[number].node.type, f"g{number}"))
