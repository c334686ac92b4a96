"""Reading the cautions of `rulebook.yaml`: sentences that decide nothing, each with its condition and its examples."""

from typing import Final

from fitsvc.rulebook.dating import PERIOD
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, TEXT, YES_NO, Form, by_name
from fitsvc.rulebook.rules import Caution
from fitsvc.rulebook.topics import SOURCE, examples_of, identifier, read_examples, reference
from fitsvc.rulebook.yaml_text import Node

_TOLD: Final = ("told", "not_told")
CAUTION: Final = Form(
    "a caution",
    {"id": TEXT, "text": TEXT, "source": SOURCE.kind},
    {"applies_when": EXPRESSION, "assumed": YES_NO, "examples": examples_of(_TOLD), "same": by_name(TEXT), **PERIOD},
)


def read_caution(read: Expressions, node: Node, taken: dict[str, str]) -> Caution | None:
    """Read one caution; one with a condition has an example for which it is told, and one for which it is not."""
    shape = read.shape
    entry = shape.form(node, CAUTION)
    if entry is None:
        return None
    name = identifier(shape, entry, taken, "rulebook")
    guard = read.read(entry, "applies_when")
    if guard is not None and "examples" not in entry.entries:
        help = "add `examples:`, one that gives `told` and one that gives `not_told`"
        shape.complain(entry, "a caution with a condition has examples", help)
    read.examples[name] = read_examples(shape, entry, _TOLD, _TOLD if guard is not None else ())
    return Caution(
        id=name,
        text=read.template(entry, "text", {}),
        subjects=read.subjects(guard),
        guard=guard,
        source=reference(shape, entry),
        assumed=shape.one_of(entry, "assumed", ("yes", "no"), "no", what="yes or no") == "yes",
    )
