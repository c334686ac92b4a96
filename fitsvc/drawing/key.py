"""The key of a drawing: which badge stands for what, told below the picture."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from fitsvc.drawing.ink import WIDTH, badge, element, lines_of, text_at


@dataclass(slots=True)
class Key:
    """Capital letters for what strikes or may, small ones for parts, numbers for dimensions; each as its row."""

    marks: list[tuple[str, str, str, str]] = field(default_factory=list)
    parts: list[tuple[str, str]] = field(default_factory=list)
    numbers: list[tuple[str, str]] = field(default_factory=list)

    def mark(self, told: str, result: str, rule: str) -> str:
        """A badge for what a rule found."""
        sign = chr(ord("A") + len(self.marks))
        self.marks.append((sign, told, kind_of(result), rule))
        return sign

    def part(self, told: str) -> str:
        """A badge for a part."""
        sign = chr(ord("a") + len(self.parts))
        self.parts.append((sign, told))
        return sign

    def number(self, told: str) -> str:
        """A badge for a dimension."""
        sign = str(len(self.numbers) + 1)
        self.numbers.append((sign, told))
        return sign

    def draw(self, y: float, notes: Iterable[str]) -> tuple[list[str], float]:
        """The rows from y down, the notes below them, and where they end."""
        rows = [(sign, told, kind, rule) for sign, told, kind, rule in self.marks]
        rows += [(sign, told, "d-part", "") for sign, told in self.parts]
        rows += [(sign, told, "d-badge", "") for sign, told in self.numbers]
        drawn = []
        for sign, told, kind, rule in rows:
            lines = lines_of(told, WIDTH - 30.0, 12.0)
            row = [
                badge(10, y + 8, sign, kind),
                *(text_at(26, y + 12 + 14 * i, one, 12) for i, one in enumerate(lines)),
            ]
            drawn.append(element("g", "".join(row), class_="d-row", data_rule=rule or None))
            y += 14.0 * len(lines) + 3.0
        for told in (line for note in notes for line in lines_of(note, WIDTH - 10.0, 12.0)):
            drawn.append(text_at(2, y + 12, told, 12))
            y += 14.0
        return drawn, y


def kind_of(result: str) -> str:
    """The class of a mark by its rule's result."""
    return "d-strikes" if result == "fails" else "d-open"
