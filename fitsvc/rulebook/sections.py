"""The forms of whole files: what stands in `rulebook.yaml`, in a topic and in `adapters.yaml`."""

from typing import Final

from fitsvc.rulebook.adding import ADDS, SECTION
from fitsvc.rulebook.allowing import ALLOWANCE
from fitsvc.rulebook.cautions import CAUTION
from fitsvc.rulebook.dating import AS_OF, DAY
from fitsvc.rulebook.filling import WISH
from fitsvc.rulebook.forms import ANY, EXPRESSION, TEXT, Form, Kind, by_name, many, named
from fitsvc.rulebook.topics import LIMIT, NEED, RULE, SAME, examples_of
from fitsvc.rulebook.trials import TRIAL
from fitsvc.rulebook.usual import USUAL

TOP: Final = Form(
    "rulebook.yaml",
    {"name": TEXT},
    {
        AS_OF: DAY,
        "cautions": many(CAUTION.kind),
        "wishes": many(WISH.kind),
        "asks_for": by_name(EXPRESSION, named("subject")),
        "usual": many(USUAL.kind),
        "trials": by_name(TRIAL.kind),
        "allowances": many(ALLOWANCE.kind),
        SECTION: by_name(ADDS.kind),
    },
)
_BESIDE: Final[dict[str, Kind]] = {
    "meaning": TEXT,
    "shown_in": named("unit"),
    "below_zero": TEXT,
    "above_zero": TEXT,
    "examples": examples_of((), **{"is": ANY}),
    "same": SAME,
}
DERIVED: Final = Form(
    "a derived value", {"name": TEXT, "label": TEXT, "type": named("value_type"), "is": EXPRESSION}, _BESIDE
)
OPENING_FACT: Final = Form("an opening fact", {"type": named("value_type"), "label": TEXT}, _BESIDE)
ADAPTERS: Final = Form(
    "`adapters`",
    {"bare": by_name(EXPRESSION), "each": by_name(EXPRESSION), "facts": by_name(OPENING_FACT.kind)},
)
TOPIC: Final = Form(
    "a topic file",
    {"topic": TEXT, "about": TEXT},
    {
        "derived": many(DERIVED.kind),
        "rules": many(RULE.kind),
        "limits": many(LIMIT.kind),
        "needs": many(NEED.kind),
    },
)
ADAPTERS_FILE: Final = Form(TOPIC.what, TOPIC.required, {**TOPIC.optional, "adapters": ADAPTERS.kind})
