"""What a change of one rule brings: `PYTHONPATH=tests python -m bench.bench_whatif [ITEMS]` (100,000 if not said).

The demo's catalogue of that size with its rigs, and a made-up one in which far more items differ, are held against
changes of a few rules: as the page does it, where whole answers are judged only where the rule makes a difference, and
beside it with whole answers of every rig. Both begin with the changed rulebook, read, and end with the counts.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from bench.measuring import asked_for, once
from bench.stored_catalogue import store
from fitsvc.answers.answering import Answerer
from fitsvc.audits.foreseen import foresee
from fitsvc.audits.rigs import AuditRig, stored_rigs
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.point import Point
from fitsvc.paths import data_dir
from fitsvc.rulebook.drafting import Drafting
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.segments import Snapshot
from fitsvc.store.database import Database

CHANGES = [
    ("shank-fits-opening", "== opening.size", "<= opening.size"),
    ("shank-fits-opening", "severity: blocking", "severity: caution"),
    ("reach-behind-without-flag", "48 in", "36 in"),
    ("tongue-weight", "severity: blocking", "severity: caution"),
]
ROUNDS = 3


def main() -> None:
    """Measure and print."""
    count, drafting = asked_for(100_000), Drafting(data_dir("rules"))
    answerer = Answerer(drafting.book)
    with tempfile.TemporaryDirectory() as folder:
        demo, made_up = Path(folder) / "shop", f"sqlite:///{folder}/made_up.db"
        command = [sys.executable, "-m", "fitsvc", "demo", "--size", str(count), "--into", str(demo)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        store(made_up, drafting.book, count)
        shop = Database(f"sqlite:///{demo / 'demo.db'}")
        with shop.session() as session:
            rigs = stored_rigs(session, answerer.reader, aside=[], most=500)
        for what, database in (("the demo's catalogue", shop), ("a made-up one", Database(made_up))):
            held = SelectionIndex(answerer, database).held()
            signatures = sum(part.segment.catalogue.count for part in held.parts)
            print(f"{what}: {held.items:,} items, {signatures:,} that rules tell apart; {len(rigs)} rigs")
            for change in CHANGES:
                tried(drafting, answerer, held, rigs, change)


def tried(
    drafting: Drafting, answerer: Answerer, held: Snapshot, rigs: list[AuditRig], change: tuple[str, str, str]
) -> None:
    """Try one change, and print what it takes: the first time, before the rigs' answers are kept, and after."""
    id, old, new = change
    entry = drafting.entry(id)
    assert entry is not None and old in entry.text
    book = drafting.tried(entry, entry.text.replace(old, new)).book
    assert book is not None
    times = [once(lambda _: foresee(answerer.columns, book, id, held, rigs, seconds=1e9))[0] for _ in range(ROUNDS)]
    whole = [once(lambda _: whole_answers(answerer, book, held, rigs))[0] for _ in range(ROUNDS)]
    found = foresee(answerer.columns, book, id, held, rigs)
    told = f"first {times[0]:.2f} s, then {min(times[1:]):.2f} s; whole answers {min(whole):.2f} s"
    print(f"  {id}: {old} -> {new}: {told}; within the page's time {found.rigs} rigs")


def whole_answers(answerer: Answerer, book: Rulebook, held: Snapshot, rigs: list[AuditRig]) -> int:
    """How many answers change, all of them judged under both rulebooks."""
    changed = Columns(Point(book))
    count = 0
    for part in held.parts:
        catalogue = part.segment.catalogue
        for rig in rigs:
            old, new = (one.judge(catalogue, rig.case).outcome() for one in (answerer.columns, changed))
            count += int(catalogue.weights[np.flatnonzero(old != new)].sum())
    return count


if __name__ == "__main__":
    main()
