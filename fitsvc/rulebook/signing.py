"""Who signed for rules that let more pass than the ones before: `signed.yaml`, on which no answer rests."""

from collections.abc import Mapping as Map
from dataclasses import dataclass
from typing import Final

from fitsvc.rulebook.forms import TEXT, Form, many
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Node, Scalar

SIGNED: Final = "signed.yaml"
_LEAST_DIGITS: Final = 8
_ENTRY: Final = Form("what is signed", {"since": TEXT, "rules": many(TEXT), "by": TEXT, "because": TEXT})
SIGNED_FILE: Final = Form(SIGNED, {"signed": many(_ENTRY.kind)})


@dataclass(frozen=True, slots=True)
class SignedOff:
    """Who answers for some rules being looser than in the rulebook whose digest begins so, and why."""

    since: str
    rules: tuple[str, ...]
    by: str
    because: str

    def covers(self, digest: str, rule: str) -> bool:
        """Whether it is for this rule, changed since that rulebook."""
        return digest.removeprefix("sha256:").startswith(self.since.removeprefix("sha256:")) and rule in self.rules


def read_signed(shape: Shape, tree: Node | None) -> tuple[SignedOff, ...]:
    """The entries of a folder's `signed.yaml`; none without the file."""
    top = shape.form(tree, SIGNED_FILE) if tree is not None else None
    found = []
    for node in shape.items(top.entries["signed"] if top else None, "`signed`"):
        entry = shape.form(node, _ENTRY)
        if entry is not None:
            words: Map[str, str] = {key: shape.text(entry, key) for key in ("since", "by", "because")}
            ids = [one.value for one in shape.items(entry.entries["rules"], "`rules`") if isinstance(one, Scalar)]
            if len(words["since"].removeprefix("sha256:")) < _LEAST_DIGITS:
                shape.complain(entry.entries["since"], "a digest is too short to be told from others", "give 8 digits")
            found.append(SignedOff(words["since"], tuple(ids), words["by"], words["because"]))
    return tuple(found)
