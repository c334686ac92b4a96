"""What is exported loads elsewhere to the same state, in either form."""

from pathlib import Path

import pytest
from demo_world import SEED, answerer

from fitsvc.cli.app import main
from fitsvc.loading.load import load_file
from fitsvc.observing.recording import observe
from fitsvc.store.database import Database, upgrade
from fitsvc.store.observations import Provenance
from fitsvc.store.records import get_record, list_records
from fitsvc.store.tables import TABLES

SAID = (
    ({"pin_to_bumper": "4 in ± 1/8 in"}, "measured", "Ann"),
    ({"pin_to_bumper": "exactly 14 in"}, "read", "Bo"),
    ({"height": {"at_least": "16 in", "at_most": "17-1/2 in"}, "notes": "under the | step, left"}, "measured", "Ann"),
    ({"fitted": True, "drilling": False, "fascia_trim": ["none", "hidden"]}, "read", "Ann"),
)
TRIED = (
    {"tyre": "245/75R16", "stowed": True, "rubbed": True},
    {"sku": "KND-2-D1-9", "state": "in_use", "result": "clear", "gap": "1/2 in ± 1/8 in"},
    {"sku": "KND-2-D1-9", "state": "in_use", "result": "touched", "through": ["BTX-SLEEVE-25-2", "BTX-REACH-2-8"]},
)
MOUNTING = "mnt_saltmarsh_own"


@pytest.mark.parametrize("form", ["csv", "lines"])
def test_what_is_exported_loads_elsewhere_to_the_same_state(
    url: str, tmp_path: Path, form: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Facts, how each is known, and what is disputed or was tried, of every record of a shop."""
    here, reader = Database(url), answerer().reader
    for name in ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "accessories.csv"):
        load_file(here, reader, SEED / name)
    with here.session() as session:
        about = {"subject": "mounting", "record": MOUNTING}
        for facts, kind, by in SAID:
            told = Provenance(kind=kind, by=by, tool="tape", condition="empty", note="a, b")  # type: ignore[arg-type]  # a kind of evidence out of a list
            observe(session, reader, about | {"facts": facts}, told, rigs=False)
        for evidence in TRIED:
            observe(session, reader, about | {"evidence": evidence}, Provenance(kind="measured", by="Di"), rigs=False)
    files = []
    for part in ("records.csv", "statements.csv") if form == "csv" else ("lines",):
        assert main(["export", "--as", part, "--database", url]) == 0
        files.append(tmp_path / (part if form == "csv" else "all.jsonl"))
        files[-1].write_text(capsys.readouterr().out, encoding="utf-8")
    upgrade(there := f"sqlite:///{tmp_path / 'there.db'}")
    assert main(["load", *map(str, files), "--database", there]) == 0
    other = Database(there)
    with here.session() as one, other.session() as two:
        compared = 0
        for subject in TABLES:
            for record in list_records(one, subject, limit=5000):
                again = get_record(two, subject, record.key)
                assert read(subject, again.facts) == read(subject, record.facts), record.key
                states = [
                    {name: [how.get(part) for part in ("kind", "state", "tried", "things")] for name, how in of.items()}
                    for of in (again.provenance, record.provenance)
                ]
                assert states[0] == states[1], record.key
                compared += 1
        assert compared > 150
        assert get_record(two, "mounting", MOUNTING).provenance["pin_to_bumper"]["state"] == "disputed"
    here.close()
    other.close()


def read(subject: str, facts: dict[str, object]) -> object:
    """Facts as they are read: a spelling may differ, what it says may not."""
    values: dict[str, object] = {}
    texts: dict[str, str] = {}
    sold = "accessory" if subject == "accessory" else subject
    known = {name: value for name, value in facts.items() if name in answerer().reader.subjects[sold]}
    answerer().reader.read(sold, known, "", [], values, texts)  # type: ignore[arg-type]  # a subject's name out of a list
    return values, texts, facts.keys()
