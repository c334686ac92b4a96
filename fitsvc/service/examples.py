"""Examples in the API's description, of the demo's scenario; a test sends each and expects it to be taken."""

import json
from contextlib import suppress
from functools import lru_cache
from typing import Final

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.planning.reading import read_wishes

_ALL: Final = json.loads((data_dir("seed_demo") / "examples.json").read_text("utf-8"))
MISTAKEN: Final[Document] = _ALL.pop("Mistaken")
"""A question that is refused, for an example of a problem."""

UPLOADS: Final[dict[str, str]] = _ALL.pop("Uploads")
"""By the media type of a file of an audit, what it may hold."""

CATALOGUE: Final[dict[str, str]] = _ALL.pop("Catalogue")
"""By the media type of a catalogue, what it may hold."""

BODIES: Final[dict[str, Document]] = _ALL
"""By the name of a body's schema; sent in this order, each finds what it names."""

KEYS: Final[dict[str, str]] = _ALL.pop("Keys")
"""By kind of record, or by tag and parameter, what there is of it in the demo's shop."""
QUESTION: Final = BODIES["Question"]
_NEW: Final = "New"


@lru_cache(maxsize=1)  # asked for every operation that is described, of the one rulebook of a service
def fit(answerer: Answerer) -> bool:
    """Whether the examples can be read by a rulebook; one with other kinds or facts is described without them."""
    problems: list[Problem] = []
    with suppress(ProblemsFound):
        read_question(QUESTION, answerer.reader, NoRecords())
        wishes = {**BODIES["Wishes"], "rig": QUESTION["rig"]}
        read_wishes(wishes, answerer.engine, answerer.reader, NoRecords())
        for name, body in BODIES.items():
            subject = body.get("subject", name.removeprefix(_NEW).lower())
            if name.startswith(_NEW) and subject in answerer.rulebook.vocabulary.subjects:
                answerer.reader.read(subject, body["facts"], "", problems, {}, {})
        return not problems
    return False
