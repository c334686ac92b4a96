"""CSV files of observations: one a row, a file whole or not at all, contradictions told."""

from collections.abc import Callable
from pathlib import Path

import pytest

from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import in_order, load_file
from fitsvc.loading.storing import Loaded
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.observations import list_observations
from fitsvc.store.records import Draft, get_record

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
        path.write_text(header + "".join(f"{row}\n" for row in rows), encoding="utf-8")
        return load_file(database, reader, path)

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
            "mounting,mnt_1,4,,,,,,", "mountin,mnt_1,4,,,,,,", "mounting,mnt_2,4,,,,,,", ",,4,,,,,,",
            "mounting,mnt_1,x,,265,maybe,,yesterday,", "vehicle,veh_1,,,,,Ann,,", "accessory,B,4,,,,,,",
        )  # fmt: skip
    found = [(problem.line, problem.pointer) for problem in caught.value.problems]
    assert sorted(found) == [
        (3, "subject"), (4, "record"), (5, "subject"), (6, "at"), (6, "evidence_stowed"), (6, "evidence_tyre"),
        (6, "pin_to_bumper [in]"), (7, "record"), (8, "pin_to_bumper [in]"),
    ]  # fmt: skip
    with database.session() as session:
        assert len(list_observations(session, "mounting", "mnt_1")) == 1


def test_a_column_that_is_not_known_is_told(load: Load) -> None:
    """The header is judged by what a file of observations may have."""
    with pytest.raises(ProblemsFound) as caught:
        load("mounting,mnt_1,4,x", header="subject,record,heigth,label\n")
    assert [problem.message for problem in caught.value.problems][:2] == [
        "column `heigth` is not known", "column `label` is not known",
    ]  # fmt: skip


def test_observations_are_loaded_after_what_they_are_of(tmp_path: Path, rulebook: Rulebook) -> None:
    """Whatever order files are named in, those of observations come last."""
    observed, records = tmp_path / "a.csv", tmp_path / "b.csv"
    observed.write_text("subject,record,height\nmounting,mnt_1,18 in\n")
    records.write_text("subject,id,height,vehicle,receiver\nmounting,mnt_1,18 in,veh_1,rcv_1\n")
    assert in_order([observed, records], rulebook.vocabulary) == [records, observed]
