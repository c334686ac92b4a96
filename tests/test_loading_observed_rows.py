"""CSV files of observations: one a row, a file whole or not at all, contradictions told."""

import json
import random
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import in_order, load_file
from fitsvc.loading.storing import Loaded
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import observe
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, all_observations, ground_of, list_observations
from fitsvc.store.records import Draft, delete_record, get_record, replace_record
from fitsvc.store.tables import Mounting

HEADER = "subject,record,pin_to_bumper [in],rating,evidence_tyre,evidence_stowed,by,at,note\n"
Load = Callable[..., Loaded]


@pytest.fixture
def load(database: Database, rulebook: Rulebook, tmp_path: Path) -> Load:
    """Give a way to load rows into a store with one mounting and one ball."""
    reader, path = FactReader(rulebook), tmp_path / "observed.csv"
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
        create_record(session, "receiver", Draft(key="rcv_1"))
        mounting = Draft(key="mnt_1", facts={"pin_to_bumper": "4 in"}, vehicle_id="veh_1", receiver_id="rcv_1")
        create_record(session, "mounting", mounting)
        create_record(session, "accessory", Draft(key="B", sold_as="ball"))

    def loads(*rows: str, header: str = HEADER) -> Loaded:
        file = path if header else path.with_suffix(".jsonl")
        file.write_text(header + "".join(f"{row}\n" for row in rows), encoding="utf-8")
        return load_file(database, reader, file)

    return loads


def test_rows_become_observations(load: Load, database: Database) -> None:
    """Values, evidence, who and when go into the log, and what follows into the record."""
    loaded = load(
        "mounting,mnt_1,4 ± 1/8,,,,Ann,2026-05-01,",
        "mounting,mnt_1,,,265/70R17,no,Bo,2026-05-03T10:00:00Z,rubs",
        "accessory,B,,3500 lb,,,,,",
    )
    assert (loaded.stored, loaded.contradictions) == ({"observation": 3}, [])
    with database.session() as session:
        facts = get_record(session, "mounting", "mnt_1").facts
        assert facts == {"pin_to_bumper": {"value": "4 in", "tolerance": "1/8 in"}, "spare_blocked_from": "802.8 mm"}
        assert get_record(session, "accessory", "B").facts == {"rating": "3500 lb"}
        last = list_observations(session, "mounting", "mnt_1")[-1]
    assert (last.by, last.note, last.kind) == ("Bo", "rubs", "measured")
    assert last.evidence == {"tyre": "265/70R17", "stowed": False}


@pytest.mark.parametrize("as_csv", [True, False])
def test_f6_a_file_retracts_corrects_and_settles(load: Load, database: Database, as_csv: bool) -> None:
    """Each with its reason, of what was told before; what is told anew has all that a statement may have beside it."""

    def tells(**row: Any) -> None:
        row = {"subject": "mounting", "record": "mnt_1", "kind": "measured", **row}
        if as_csv:
            load(",".join(map(str, row.values())), header=",".join(row) + "\n")
        else:
            facts = {name: row.pop(name) for name in ("pin_to_bumper", "height") if name in row}
            load(json.dumps(row | ({"facts": facts} if facts else {})), header="")

    def known() -> tuple[Any, Any, str]:
        with database.session() as session:
            record, last = get_record(session, "mounting", "mnt_1"), list_observations(session, "mounting", "mnt_1")[-1]
            told = record.facts.get("pin_to_bumper"), record.provenance["pin_to_bumper"].get("state")
        assert last.takes_back is None or last.reason
        return *told, last.id

    tells(pin_to_bumper="exactly 14 in", by="Ann")
    first = known()
    tells(pin_to_bumper="exactly 5 in", by="Bo")
    assert known()[:2] == ({"at_least": "5 in", "at_most": "14 in"}, "disputed")
    how = {"tool": "tape", "condition": "empty and level", "photo": "yard/7.jpg", "note": "again", "at": "2026-05-03"}
    tells(corrects=first[2], pin_to_bumper="exactly 15 in", by="Ann", reason="misread", **how)
    assert known()[:2] == ({"at_least": "5 in", "at_most": "15 in"}, "disputed")
    with database.session() as session:
        said = list_observations(session, "mounting", "mnt_1")[-1]
        assert (said.tool, said.condition, said.photo, said.note) == ("tape", "empty and level", "yard/7.jpg", "again")
        assert (said.at.date().isoformat(), said.act, said.by) == ("2026-05-03", "corrects", "Ann")
    tells(settles=True, pin_to_bumper="exactly 6 in", by="Cy", reason="all three looked")
    assert known()[:2] == ("exactly 6 in", None)
    settled = known()[2]
    tells(retracts=settled, reason="of another truck")
    assert known()[:2] == ({"at_least": "5 in", "at_most": "15 in"}, "disputed")


def test_contradictions_are_told(load: Load) -> None:
    """What cannot hold beside an earlier statement is told with both values, and stored."""
    loaded = load("mounting,mnt_1,5 ± 1/8,,,,Ann,2026-05-01,")
    (text,) = loaded.contradictions
    assert text.startswith(
        "mnt_1: the distance from pin hole to bumper cannot be 5 in ± 1/8 in and 4 in (published on "
    )
    assert text.endswith("; measured by Ann on 2026-05-01)")


def test_everything_wrong_is_told_by_row_and_nothing_is_stored(load: Load, database: Database) -> None:
    """Unknown records and columns, bad values, evidence and dates: all of them at once."""
    with pytest.raises(ProblemsFound) as caught:
        load(
            "mounting,mnt_1,4,,,,,,",
            "mountin,mnt_1,4,,,,,,",
            "mounting,mnt_2,4,,,,,,",
            ",,4,,,,,,",
            "mounting,mnt_1,x,,265,maybe,,yesterday,",
            "vehicle,veh_1,,,,,Ann,,",
            "accessory,B,4,,,,,,",
        )
    found = [(problem.line, problem.pointer) for problem in caught.value.problems]
    assert sorted(found) == [
        (3, "subject"),
        (4, "record"),
        (5, "subject"),
        (6, "at"),
        (6, "evidence_stowed"),
        (6, "evidence_tyre"),
        (6, "pin_to_bumper [in]"),
        (7, "record"),
        (8, "pin_to_bumper [in]"),
    ]
    with database.session() as session:
        assert len(list_observations(session, "mounting", "mnt_1")) == 1


def test_a_column_that_is_not_known_is_told(load: Load) -> None:
    """The header is judged by what a file of observations may have."""
    with pytest.raises(ProblemsFound) as caught:
        load("mounting,mnt_1,4,x", header="subject,record,heigth,label\n")
    assert [problem.message for problem in caught.value.problems][:2] == [
        "column `heigth` is not known",
        "column `label` is not known",
    ]


def test_observations_are_loaded_after_what_they_are_of(tmp_path: Path, rulebook: Rulebook) -> None:
    """Whatever order files are named in, those of observations come last."""
    observed, records = tmp_path / "a.csv", tmp_path / "b.csv"
    observed.write_text("subject,record,height\nmounting,mnt_1,18 in\n")
    records.write_text("subject,id,height,vehicle,receiver\nmounting,mnt_1,18 in,veh_1,rcv_1\n")
    assert in_order([observed, records], rulebook.vocabulary) == [records, observed]


def test_many_rows_come_to_what_each_by_itself_comes_to(load: Load, database: Database, rulebook: Rulebook) -> None:
    """Statements that agree, dispute, repeat themselves and take back, of several records: taken together in one
    transaction they leave the facts, their provenance, the versions and the contradictions that one by one leave.
    """
    rng, reader = random.Random(7), FactReader(rulebook)
    values = ["4 in", "4-1/16 in", "5 in", "14 in", "at least 3 in"]
    rows = []
    for number in range(120):
        key = f"mnt_{rng.randrange(2, 5)}"
        fact = rng.choice(["pin_to_bumper", "height"])
        row = {"subject": "mounting", "record": key, "facts": {fact: rng.choice(values)}, "by": rng.choice("ABC")}
        if number % 9 == 0:
            row = {"subject": "vehicle", "record": "veh_1", "facts": {"tyre": rng.choice(["245/75R16", "265/70R17"])}}
        elif number % 17 == 0:
            row |= {"kind": "assumed", "facts": {fact: None}}
        elif number % 19 == 0:
            row |= {"facts": {}, "evidence": {"tyre": "245/75R16", "stowed": True}}
        rows.append({**row, "at": f"2026-05-{number % 28 + 1:02}T09:00:00Z"})
    told = []
    for together in (True, False):
        with database.session() as session:
            for number in range(2, 5):
                how: Any = {"laws": laws_of(reader), "told": Provenance(source="made")}
                if session.get(Mounting, f"mnt_{number}"):
                    delete_record(session, "mounting", f"mnt_{number}", laws=laws_of(reader))
                draft = Draft(key=f"mnt_{number}", vehicle_id="veh_1", receiver_id="rcv_1")
                create_record(session, "mounting", draft, how["told"], laws=how["laws"])
            replace_record(session, "vehicle", "veh_1", Draft(), laws=laws_of(reader), also_seen=True)
        loaded = [load(*map(json.dumps, some), header="") for some in ([rows] if together else [[row] for row in rows])]
        with database.session() as session:
            found = [get_record(session, "mounting", f"mnt_{number}") for number in range(2, 5)]
            known = [(one.facts, {name: told_of(how) for name, how in one.provenance.items()}) for one in found]
        told.append((known, [text for one in loaded for text in one.contradictions]))
    assert told[0] == told[1]
    assert len(told[0][1]) > 10


def told_of(how: dict[str, Any]) -> Any:
    """How a fact is known, without the ids of observations."""
    return how["kind"], how.get("state"), [(one["value"], one["by"], one["at"]) for one in how.get("said", ())]


def test_two_who_tell_at_once_lose_nothing(load: Load, database: Database, rulebook: Rulebook, tmp_path: Path) -> None:
    """Two files and somebody at the counter, all of one mounting: every word is kept, and what is known is its fold."""
    reader = FactReader(rulebook)

    def file(by: str) -> None:
        path = tmp_path / f"{by}.csv"
        path.write_text(HEADER + "".join(f"mounting,mnt_1,{n} ± 1/8,,,,{by},2026-05-{n:02},\n" for n in range(1, 21)))
        load_file(database, reader, path)

    def counter() -> None:
        for n in range(10):
            with database.session() as session:
                told = {"subject": "mounting", "record": "mnt_1", "facts": {"height": f"{n + 10} in"}}
                observe(session, reader, told, Provenance(kind="measured", by="Cy"), rigs=False)

    with ThreadPoolExecutor(3) as pool:
        for one in [pool.submit(file, "Ann"), pool.submit(file, "Bo"), pool.submit(counter)]:
            one.result()
    with database.session() as session:
        record, said = get_record(session, "mounting", "mnt_1"), all_observations(session, "mounting", "mnt_1")
        assert (len(said), record.version) == (51, 51)
        found = current_facts(said, laws_of(reader)("mounting"), ground_of(session, record))
        assert (record.facts, record.provenance) == (found.facts, found.provenance)
