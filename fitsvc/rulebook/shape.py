"""Reading a YAML tree key by key: what must be there, what may be, and every departure noted at its place."""

from collections.abc import Callable, Iterable, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from typing import TypeVar

from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.source import Source
from fitsvc.rulebook.forms import Form, Kind, briefly
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence

T = TypeVar("T")
Word = TypeVar("Word", bound=str)


@dataclass(slots=True)
class Shape:
    """Collects problems while a file's tree is read; a part that is wrong reads as None or empty."""

    problems: list[Problem] = field(default_factory=list)

    def complain(self, node: Node, message: str, help: str = "") -> None:
        """Note a problem at a node."""
        self.problems.append(node.problem(message, help))

    def mapping(self, node: Node, what: str, required: Iterable[str], optional: Iterable[str] = ()) -> Mapping | None:
        """A mapping that has the required keys and no others but the optional ones."""
        if not isinstance(node, Mapping):
            self.complain(node, f"{what} is written as `key: value` lines", "indent them under the name")
            return None
        known, meant = [*required, *optional], set[str | None]()
        for key in node.entries:
            if key not in known:
                near = nearest(key, [name for name in known if name not in node.entries]) or nearest(key, known)
                meant.add(near)
                listed = ", ".join(f"`{name}`" for name in known)
                help = f"did you mean `{near}`?" if near else f"it may have {listed}"
                self.problems.append(node.problem_at_key(key, f"{what} has no key `{key}`", help))
        missing = [key for key in required if key not in node.entries]
        untold = [f"`{key}`" for key in missing if key not in meant]
        if untold:
            kinds: Map[str, Kind] = required if isinstance(required, Map) else {}
            how = [f"`{key}: {briefly(kinds.get(key, {}))}`" for key in missing if key not in meant]
            self.complain(node, f"{what} lacks {', '.join(untold)}", f"add {', '.join(how)}")
        return None if missing else node

    def form(self, node: Node, form: Form, what: str = "") -> Mapping | None:
        """An entry that has the keys of a form, called by what it is, or by more than that."""
        return self.mapping(node, what or form.what, form.required, form.optional)

    def open_mapping(self, node: Node | None, what: str) -> Iterator[tuple[str, Node]]:
        """The entries of a mapping whose keys the author chooses; nothing when it is absent."""
        if node is None:
            return
        if not isinstance(node, Mapping):
            self.complain(node, f"{what} is written as `name: ...` lines")
            return
        yield from node.entries.items()

    def items(self, node: Node | None, what: str) -> tuple[Node, ...]:
        """The items of a list; none when it is absent."""
        if node is None:
            return ()
        if not isinstance(node, Sequence):
            self.complain(node, f"{what} is a list, each item after `- `")
            return ()
        return tuple(node.items)

    def text(self, parent: Mapping, key: str) -> str:
        """The text under a key; empty (and noted) when it is something else, empty when it is absent."""
        node = parent.entries.get(key)
        if node is None:
            return ""
        if isinstance(node, Scalar) and node.value:
            return node.value.strip()
        self.complain(node, f"`{key}` is empty" if isinstance(node, Scalar) else f"`{key}` is a text")
        return ""

    def one_of(self, parent: Mapping, key: str, allowed: Iterable[Word], default: str = "", what: str = "") -> Word:
        """The word under a key, from a closed set; `what` it is called where the key does not say it."""
        word = self.text(parent, key) or default
        known = list(allowed)
        if word in known:
            return known[known.index(word)]
        if not word and key in parent.entries:
            return known[0]
        near = nearest(word, known)
        help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{name}`" for name in known)
        self.complain(parent.entries.get(key, parent), f"`{word}` is not {what or _a(key.replace('_', ' '))}", help)
        return known[0]

    def attempt(self, call: Callable[[], T]) -> T | None:
        """Run a reading that may raise ProblemsFound, and keep its problems."""
        try:
            return call()
        except ProblemsFound as found:
            self.problems += found.problems
            return None


def _a(word: str) -> str:
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


def source_of(scalar: Scalar) -> Source:
    """The text of a scalar as an expression that knows its place in the file."""
    return Source(scalar.value or "", scalar.problem_at)
