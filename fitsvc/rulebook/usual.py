"""What facts nearly always are, as `rulebook.yaml` says it: told as a thing to check, never taken for known."""

from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.language.typed import ALWAYS
from fitsvc.language.types import TextType
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, Form, named
from fitsvc.rulebook.rules import UsualValue
from fitsvc.rulebook.topics import SOURCE, reference
from fitsvc.rulebook.yaml_text import Mapping

USUAL: Final = Form(
    "what is usual",
    {"fact": named("fact"), "is": EXPRESSION, "source": SOURCE.kind},
    {"applies_when": EXPRESSION},
)


def read_usual(read: Expressions, top: Mapping | None) -> dict[str, UsualValue]:
    """What is usual of each fact that is named, once, with a source and in the fact's own type."""
    found: dict[str, UsualValue] = {}
    for node in read.shape.items(top.entries.get("usual") if top else None, "`usual`"):
        entry = read.shape.form(node, USUAL)
        if entry is None:
            continue
        name, facts = read.shape.text(entry, "fact"), read.vocabulary.facts
        fact = facts.get(name)
        if fact is None or isinstance(fact.type, TextType) or fact.subject == "adapter" or name in found:
            near = nearest(name, facts)
            help = f"did you mean `{near}`?" if near else "name a fact such as `receiver.pin_hole`, once"
            read.shape.complain(entry.entries["fact"], f"`{name}` is no fact of which something usual is said", help)
            continue
        guard = read.read(entry, "applies_when") if "applies_when" in entry.entries else ALWAYS
        value = read.read(entry, "is", fact.type)
        if guard is not None and value is not None:
            text, when = (read.shape.text(entry, key) for key in ("is", "applies_when"))
            source = reference(read.shape, entry)
            found[name] = UsualValue(fact=name, guard=guard, node=value, source=source, text=text, when=when)
    return found
