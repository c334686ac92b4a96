"""What a rule's result brings to the outcome: the one table that says so, read by every evaluator and every view.

A result goes into one list of a verdict (its effect), and the effect says the outcome. The outcome of a case is the
worst that any of its rules and needs brings about. A rule that does not apply brings nothing.
"""

from collections.abc import Mapping
from typing import Final, Literal

Outcome = Literal["works", "conditional", "undetermined", "fails"]
OUTCOMES: Final[tuple[Outcome, ...]] = ("works", "conditional", "undetermined", "fails")
"""Best first; over columns an outcome is told by its place here."""

Result = Literal["passes", "fails", "undetermined"]
RESULTS: Final[tuple[Result, ...]] = ("fails", "undetermined", "passes")
"""What counts most first: of a limit, the result of its worst rating is the limit's."""
Severity = Literal["blocking", "caution"]
SEVERITIES: Final[tuple[Severity, ...]] = ("blocking", "caution")
IfUnknown = Literal["undetermined", "caution"]
IF_UNKNOWN: Final[tuple[IfUnknown, ...]] = ("undetermined", "caution")

Effect = Literal["fails", "unknown", "cautions", "doubts", "open_needs", "passes"]

EFFECTS: Final[Mapping[tuple[Severity, IfUnknown], Mapping[Result, Effect]]] = {
    ("blocking", "undetermined"): {"fails": "fails", "undetermined": "unknown", "passes": "passes"},
    ("blocking", "caution"): {"fails": "fails", "undetermined": "doubts", "passes": "passes"},
    ("caution", "undetermined"): {"fails": "cautions", "undetermined": "doubts", "passes": "passes"},
    ("caution", "caution"): {"fails": "cautions", "undetermined": "doubts", "passes": "passes"},
}
"""The effect of each result, by a rule's severity and what it says of not knowing."""

NEED_EFFECTS: Final[Mapping[Result, Effect]] = {"fails": "open_needs", "undetermined": "open_needs"}
"""A need is open unless it is surely met; over columns an open need is told as one that fails."""

OUTCOME_OF: Final[Mapping[Effect, Outcome]] = {
    "fails": "fails",
    "unknown": "undetermined",
    "cautions": "conditional",
    "doubts": "conditional",
    "open_needs": "conditional",
    "passes": "works",
}
"""The outcome that each effect brings about, in the order in which effects are told."""

SO: Final[Mapping[Outcome, str]] = {"fails": "blocks", "undetermined": "open", "conditional": "caution"}
"""How an example says what a result brings to the answer, by the outcome; what passes brings nothing."""

RESULT_OF: Final[Mapping[Effect, Result]] = {
    "fails": "fails",
    "unknown": "undetermined",
    "cautions": "fails",
    "doubts": "undetermined",
    "passes": "passes",
}
"""The result that a rule came to whose effect is this one, in the order in which findings are told."""
