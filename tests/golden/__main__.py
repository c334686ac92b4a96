"""Write what the present version answers: `PYTHONPATH=tests python -m golden`."""

import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import msgspec
from demo_world import answerer
from litestar.testing import TestClient
from working_rigs import KINDS, plain_facts

from fitsvc.paths import data_dir
from fitsvc.rulebook.folder import texts_of
from fitsvc.service.app import create_app
from fitsvc.service.recording import RecordedAnswer
from fitsvc.service.settings import OPEN, Settings
from fitsvc.store.database import Database, upgrade
from golden import COUNT, NOW, RIG, RulesKept, of_examples, write

_AT = datetime(2026, 1, 1, tzinfo=UTC)
"""When they are said to be given: no answer hangs on it, and the same answers make the same file."""


_SELDOM_KNOWN: Final = frozenset(("vehicle.gvwr", "vehicle.placard_capacity", "vehicle.gawr_rear"))
"""Without these at hand an answer is a yes on a condition."""


def plain(kind: str, without: frozenset[str] = frozenset()) -> dict[str, Any]:
    """A question that is a plain yes, with all that can be told but some facts."""
    parts: dict[str, Any] = {}
    for name, value in plain_facts(kind).items():
        if name in without:
            continue
        subject, _, short = name.partition(".")
        parts.setdefault(subject, {"facts": {}})["facts"][short] = value
    return {"rig": {name: parts.pop(name) for name in RIG if name in parts}, **parts}


def main() -> None:
    """Ask a yes of each kind, plain and on a condition, and examples of all topics, by turns in either units."""
    examples = of_examples()
    kinds = [plain(kind, without) for without in (frozenset[str](), _SELDOM_KNOWN) for kind in KINDS]
    asked = kinds + examples[:: max(len(examples) // COUNT, 1)]
    with tempfile.TemporaryDirectory() as folder:
        below = Path(folder)
        url = f"sqlite:///{below}/empty.db"
        upgrade(url)
        database = Database(url)
        settings = Settings(public=OPEN, record=below / "kept")
        with TestClient(create_app(database, answerer(), below, settings=settings)) as client:
            for number, question in enumerate(asked):
                client.post("/v1/answers", json=question, params={"units": "metric"} if number % 2 else {})
        database.close()
        lines = [line for path in sorted((below / "kept").iterdir()) for line in path.read_bytes().splitlines()]
    kept = [msgspec.structs.replace(msgspec.json.decode(one, type=RecordedAnswer), at=_AT) for one in lines]
    write(NOW, RulesKept(answerer().rulebook.digest, texts_of(data_dir("rules"))), kept)
    print(f"{len(kept)} answers in {NOW.name}, {NOW.stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
