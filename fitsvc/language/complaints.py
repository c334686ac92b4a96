"""Every message of the checker, one function each: what is wrong, and what to write instead."""

from collections.abc import Iterable
from typing import Final

from fitsvc.language.functions import Function
from fitsvc.language.problems import nearest
from fitsvc.language.quantities import Dimension
from fitsvc.language.syntax import AnyNode
from fitsvc.language.types import ListType, NumberType, Type

Complaint = tuple[str, str]
_SHOWN: Final = 8
_SAME_WORD: Final = 0.8
"""So alike is a word with a slip of the pen in it; what is less alike may be another one."""


def _mean(word: str, known: Iterable[str], otherwise: str = "") -> str:
    near = nearest(word, known)
    return f"did you mean `{near}`?" if near else otherwise


def _some(names: Iterable[str]) -> str:
    listed = sorted(names)
    more = f" and {len(listed) - _SHOWN} more" if len(listed) > _SHOWN else ""
    return ", ".join(f"`{name}`" for name in listed[:_SHOWN]) + more


def wrong_type(node: AnyNode, found: Type, expected: Type) -> Complaint:
    """A whole expression or part is of another type than its place takes."""
    return f"`{node}` is {found}, expected {expected}", ""


def not_a_number(node: AnyNode, found: Type) -> Complaint:
    """Arithmetic or a function on something that is no number."""
    return f"`{node}` is {found}, expected a number", ""


def not_a_size(node: AnyNode, sizes: ListType, amount: float) -> Complaint:
    """A length that is none of a list's designations."""
    near = min(zip(sizes.sizes, sizes.members, strict=True), key=lambda pair: abs(pair[0] - amount))
    return f"`{node}` is not in {sizes.name}", f"did you mean `{near[1]}` ({near[0]:g} mm)?"


def zero_divides(node: AnyNode) -> Complaint:
    """A figure that is zero stands behind a division's sign."""
    return f"`{node}` is zero, and nothing can be divided by it", "write what it is divided by, or take `/` out"


def zero_times(node: AnyNode) -> Complaint:
    """A figure that is zero is a factor."""
    return f"`{node}` is zero, and makes zero of whatever it is multiplied with", "write the factor, or take it out"


def two_figures(node: AnyNode) -> Complaint:
    """Neither side of a comparison reads anything."""
    return f"`{node}` is the same whatever is told", "name the fact that is held against the figure"


def text_fact(name: str) -> Complaint:
    """A rule reads a text."""
    return f"`{name}` is a text, and no rule can read a text", "give it a list of members in the vocabulary"


def unknown_fact(name: str, known: Iterable[str]) -> Complaint:
    """A dotted name that the vocabulary does not have."""
    declared = "facts are declared under rules/vocabulary/, and `fitsvc rules facts` lists them"
    if name.startswith("adapter."):
        return f"there is no fact `{name}` here", "adapters.yaml reads adapters; rules read the `opening.` they make"
    subject, _, short = name.partition(".")
    of_subject = [one for one in known if one.startswith(f"{subject}.")]
    near = nearest(name, known)
    if not of_subject or nearest(short, (one.partition(".")[2] for one in of_subject), _SAME_WORD):
        return f"there is no fact `{name}`", _mean(name, known, declared)
    where = _where(subject, short)
    return f"there is no fact `{name}`", f"did you mean `{near}`? {where}" if near else where


def _where(subject: str, short: str) -> str:
    """Where the names of a subject are looked up, where what was written is hardly like one of them."""
    if subject == "opening":
        return "adapters.yaml has all that there is of the opening, with what each is"
    return f"`fitsvc rules facts {short.replace('_', ' ')}` finds facts by their words"


def unknown_member(name: str, members: ListType) -> Complaint:
    """A bare name that is no member of the list at hand."""
    return f"`{name}` is not in {members.name}", _mean(name, members.members, f"it has {_some(members.members)}")


def bare_name(name: str, facts: Iterable[str]) -> Complaint:
    """A name without a dot where nothing says what list it is of."""
    ends = {fact.split(".", 1)[1]: fact for fact in facts if "." in fact}
    near = ends.get(name) or ends.get(nearest(name, ends) or "")
    return f"`{name}` alone says nothing here", f"did you mean `{near}`?" if near else "a fact is `subject.fact`"


def different_dimensions(operator: str, left: AnyNode, a: Type, right: AnyNode, b: Type) -> Complaint:
    """A length against a mass."""
    verb = {"+": "added to", "-": "subtracted from"}.get(operator, "compared with")
    first, second = ((right, b), (left, a)) if operator == "-" else ((left, a), (right, b))
    message = f"{first[1]} cannot be {verb} {second[1]}: `{first[0]}` and `{second[0]}`"
    return message, f"write something of the same dimension on both sides of `{operator}`"


def not_comparable(operator: str, left: AnyNode, a: Type, right: AnyNode, b: Type) -> Complaint:
    """Values of kinds that do not compare so."""
    lists = [kind for kind in (a, b) if isinstance(kind, ListType)]
    help = ""
    if lists and operator not in ("==", "!="):
        help = f"{lists[0].name} has no order; use a table: `lookup(table, ...)`"
    return f"`{operator}` cannot compare {a} with {b}: `{left}` and `{right}`", help


def beyond_its_range(node: AnyNode, fact: str, ends: tuple[str, str]) -> Complaint:
    """A fact held against a figure that it can never be."""
    low, high = ends
    return f"`{fact}` is never {node}", f"it is between {low} and {high}; check the figure and its unit"


def not_a_list(node: AnyNode, found: Type) -> Complaint:
    """`in` on something without members."""
    return f"`in` asks for a list's member, and `{node}` is {found}", "compare numbers with `==` or `<=`"


def not_a_member(node: AnyNode, members: ListType) -> Complaint:
    """Something other than a member written within `in [...]`."""
    such = "".join(f", such as `{one}`" for one in members.members[:1])
    return f"`{node}` is not a member of {members.name}", f"write its members{such}"


def member_twice(node: AnyNode) -> Complaint:
    """A member that `in [...]` names again."""
    return f"`{node}` is among them already", "name it once, or the one that was meant"


def different_branches(a: Type, b: Type) -> Complaint:
    """`a if c else b` with a and b of different types."""
    return f"the two branches differ: one is {a}, the other {b}", "make both of one type"


def unknown_function(name: str, known: Iterable[str]) -> Complaint:
    """A call of something that is not registered."""
    return f"there is no function `{name}`", _mean(name, known, f"there are {_some(known)}")


def wrong_count(row: Function, found: int) -> Complaint:
    """Too few or too many arguments."""
    count = len(row.arguments)
    wanted = "at least 1 argument" if row.variadic else f"{count} argument{'s' if count > 1 else ''}"
    return f"`{row.name}` takes {wanted}, found {found}", f"{row.name}: {row.doc}"


def wrong_argument(row: Function, node: AnyNode, found: Type, wanted: Dimension) -> Complaint:
    """An argument of another dimension."""
    return f"`{node}` is {found}, but `{row.name}` takes {NumberType(wanted)} here", f"{row.name}: {row.doc}"


def lookup_form() -> Complaint:
    """lookup written wrongly."""
    return "`lookup` takes a table's name and a key", "write `lookup(table, subject.fact)`"


def lookup_keys(name: str, wanted: int, given: int) -> Complaint:
    """A table looked up by more keys or fewer than it has."""
    keys = ", ".join(["subject.fact"] * wanted)
    several = f"{wanted} keys" if wanted > 1 else "one key"
    return f"`{name}` is looked up by {several}, not {given}", f"write `lookup({name}, {keys})`"


def unknown_table(name: str, known: Iterable[str]) -> Complaint:
    """A table that does not exist, or a column that a table does not have; `known` are tables, with their columns."""
    columns: dict[str, list[str]] = {}
    for one in known:
        table, _, column = one.partition(".")
        columns.setdefault(table, []).extend([column] if column else [])
    table, _, column = name.partition(".")
    if table not in columns:
        near = nearest(table, columns)
        told = f"there is no table `{table}`"
        if near and columns[near]:
            return told, f"did you mean `{near}`? Its columns are {_all(columns[near])}"
        return told, f"did you mean `{near}`?" if near else f"there are {_some(columns)}"
    if not columns[table]:
        return f"the table `{table}` has no columns", f"write `lookup({table}, subject.fact)`"
    has = f"its columns are {_all(columns[table])}"
    if not column:
        return f"the table `{table}` has several columns", f"name one behind it, as `{table}.COLUMN`: {has}"
    near = nearest(column, columns[table])
    help = f"did you mean `{table}.{near}`? I{has[1:]}" if near else has
    return f"the table `{table}` has no column `{column}`", help


def _all(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def known_form() -> Complaint:
    """known written wrongly."""
    return "`known` takes one value", "write `known(subject.fact)`"


def present_form() -> Complaint:
    """present written wrongly."""
    return "`present` takes the name of a subject or fact", "write `present(trailer)` or `present(load.bikes)`"


def never_given(name: str) -> Complaint:
    """present of what is computed, or told to people only."""
    return f"`{name}` is never given in a question", "ask for a fact of the vocabulary that is no text"


def unknown_subject(name: str, known: Iterable[str]) -> Complaint:
    """A subject the vocabulary does not have."""
    return f"there is no subject `{name}`", _mean(name, known, f"there are {_some(known)}")
