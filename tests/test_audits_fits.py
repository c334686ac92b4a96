"""What an audit comes to for a shop: fits by number and vehicle, changes since the last night, and holes."""

import csv
import json
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from audit_world import Rows, accessories, audit, facts_of, found, pair_of, pairs, rigs, small_blocks, write_csv
from demo_world import answerer, stock
from driven import ENDED, driven, stepped
from sqlmodel import select

from fitsvc.audits.fits import FitsTold, write_fits
from fitsvc.audits.fits_put import put_fits_of
from fitsvc.audits.rigs import AuditRig
from fitsvc.cli.app import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.store.database import Database
from fitsvc.store.errors import Conflict, InvalidValue
from fitsvc.store.fits import NO_FIT, FitRow, FitsOrigin, put_fits
from fitsvc.store.tables import StoredFit

_PUT = stepped(
    "from sqlalchemy import event\nfrom sqlalchemy.engine import Engine\nfrom fitsvc.cli import main",
    'for what in ("before_cursor_execute", "commit"): event.listen(Engine, what, step)',
)
"""Each statement of a command's sessions, and each end of one, is a step."""
STATUS = {"works": "fits", "conditional": "fits if", "undetermined": "not known: measure"}
Night = tuple[Path, list[AuditRig]]
_DAYS = {"first": "2026-11-27", "second": "2026-11-28"}


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two nights' audits in small parts: in the second an item is gone, one new, one changed, and a rig is gone."""
    folder = tmp_path_factory.mktemp("nights")
    rows = [row | {"fits": ""} for row in accessories()]
    fitting = next(row for row in rows if row["shank"] == "2 in")
    later: Rows = [row | {"shank": "3 in"} if row is fitting else row for row in rows[:-1]]
    later.append(rows[-1] | {"sku": "=NEW"})
    with small_blocks():
        for name, told, of in (("first", rows, rigs()), ("second", later, rigs()[:-1])):
            catalogue, day = write_csv(folder / f"{name}.csv", told), _DAYS[name]
            audit(catalogue, folder / name, of, supplier="Fellside", day=day)
    return folder / "first", folder / "second"


@pytest.fixture(scope="module")
def exported(nights: tuple[Path, Path]) -> tuple[Path, FitsTold]:
    """What the second comes to, beside the first."""
    first, second = nights
    into = second.parent / "shop"
    return into, write_fits(second, answerer().rulebook, into, "parquet", first)


def read(path: Path) -> list[dict[str, Any]]:
    """The rows of a table of Parquet."""
    rows: list[dict[str, Any]] = pq.read_table(path).to_pylist()
    return rows


def test_every_pair_that_may_fit_is_told(nights: tuple[Path, Path], exported: tuple[Path, FitsTold]) -> None:
    """Just the pairs that do not fail, each once, with the vehicle, what people call it, and what it rests on."""
    (_, second), (into, told) = nights, exported
    rows = read(into / "fits.parquet")
    expected = {(row["sku"], row["rig"]): STATUS[row["outcome"]] for row in pairs(second) if row["outcome"] in STATUS}
    assert {(row["sku"], row["rig"]): row["status"] for row in rows} == expected
    assert len(rows) == len(expected) == sum(told.rows.values())
    by_key = {rig.key: rig for rig in rigs()}
    assert all((row["vehicle"], row["name"]) == (by_key[row["rig"]].vehicle, by_key[row["rig"]].name) for row in rows)
    assert all(row["because"] for row in rows if row["status"] != "fits")
    titles = {rule.title for rule in answerer().rulebook.rules} | {need.title for need in answerer().rulebook.needs}
    assert {one for row in rows for one in row["because"].split("; ") if one} <= titles


def test_engines_can_skip(exported: tuple[Path, FitsTold]) -> None:
    """Each group of rows tells the least and the greatest of each column, and the pairs of an audit do too."""
    into, _ = exported
    for path in (into / "fits.parquet", *(into.parent / "second" / "pairs.parquet").glob("*.parquet")):
        group = pq.ParquetFile(path).metadata.row_group(0)
        told = {group.column(place).path_in_schema: group.column(place) for place in range(group.num_columns)}
        assert all(told[name].is_stats_set and told[name].statistics.has_min_max for name in ("sku", "rig"))


def test_changes_are_those_of_both_nights(nights: tuple[Path, Path], exported: tuple[Path, FitsTold]) -> None:
    """By the audits' own pairs: all that is otherwise for a shop, of items and rigs that are gone or new too."""
    into, told = exported
    first, second = ({(row["rig"], row["sku"]): row["outcome"] for row in pairs(out)} for out in nights)
    expected = {
        key: (STATUS.get(first.get(key, ""), "no fit"), STATUS.get(second.get(key, ""), "no fit"))
        for key in first.keys() | second.keys()
    }
    rows = read(into / "changes.parquet")
    changed = {key: pair for key, pair in expected.items() if pair[0] != pair[1]}
    assert {(row["rig"], row["sku"]): (row["before"], row["after"]) for row in rows} == changed
    assert len(rows) == len(changed) == told.changes
    causes = {row["cause"] for row in rows}
    assert causes == {"item", "new item", "item gone", "rig gone"}
    assert all((row["sku"] == "=NEW") == (row["cause"] == "new item") for row in rows if row["cause"] != "rig gone")


def test_holes_are_kinds_that_nothing_fits(nights: tuple[Path, Path], exported: tuple[Path, FitsTold]) -> None:
    """Those of the audit itself, those first of which a measurement may win most, with how many it may."""
    (_, second), (into, told) = nights, exported
    with (into / "holes.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert {(row["rig"], row["kind"]) for row in rows} == {
        (row["rig"], row["kind"]) for row in found(second, "rigs_without")
    }
    assert len(rows) == told.holes
    won = [int(row["to_measure"]) for row in rows]
    assert won == sorted(won, reverse=True) and won[0] > 0
    kinds = {row["sku"]: row["kind"] for row in found(second, "items")}
    waits = [row for row in pairs(second) if row["outcome"] == "undetermined" and row["rig"] == rows[0]["rig"]]
    assert won[0] == sum(kinds["'=NEW" if row["sku"] == "=NEW" else row["sku"]] == rows[0]["kind"] for row in waits)


def test_the_command_writes_sheets_that_hold_no_formula(
    nights: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As CSV each text that begins like a formula has an apostrophe before it; a folder that is no audit is told."""
    first, second = nights
    command = ["fits", str(second), "-o", str(tmp_path / "csv"), "--format", "csv", "--against", str(first)]
    assert main(command) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "not known: measure" in said and "changes" in said and "holes" in said
    for name in ("fits", "changes"):
        with (tmp_path / "csv" / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
            skus = {row["sku"] for row in csv.DictReader(stream)}
        assert "'=NEW" in skus and "=NEW" not in skus
    assert main(["fits", str(tmp_path), "-o", str(tmp_path / "none")]) == 2
    assert "holds no audit" in capsys.readouterr().err
    with pytest.raises(ProblemsFound, match="holds no audit"):
        write_fits(tmp_path / "none", answerer().rulebook, tmp_path / "none", "csv")


def kept(database: Database) -> dict[tuple[str, str], StoredFit]:
    """What a store has of fits, by SKU and rig."""
    with database.session() as session:
        return {(row.sku, row.rig): row for row in session.exec(select(StoredFit)).all()}


def test_a_store_has_what_fits_and_since_when(
    nights: tuple[Path, Path], exported: tuple[Path, FitsTold], database: Database
) -> None:
    """After the second night it has that night's rows, and says of just the changed pairs that they are so since."""
    for night in nights:
        with database.session() as session:
            told = put_fits_of(session, night, answerer().rulebook)
    into, rows = exported[0], kept(database)
    fitting = {key: row for key, row in rows.items() if row.status != NO_FIT}
    expected = {(row["sku"], row["rig"]): row for row in read(into / "fits.parquet")}
    assert told.rows == len(fitting) and fitting.keys() == expected.keys()
    for key, row in expected.items():
        one = fitting[key]
        assert (one.vehicle, one.name, one.status, one.because) == tuple(
            row[name] for name in ("vehicle", "name", "status", "because")
        )
    changes = {(row["sku"], row["rig"]): row["after"] for row in read(into / "changes.parquet")}
    assert {key: row.status for key, row in rows.items() if row.since == "2026-11-28"} == changes
    assert told.changed == len(changes) and NO_FIT in changes.values()
    assert {row.audited_on for row in rows.values()} == {"2026-11-28"}


def test_a_fit_with_less_on_it_is_told(tmp_path: Path, database: Database) -> None:
    """What a carrier may carry where it still fits: beside the fit, in the changes and in the store since its day.

    Held to the answer's own words; what nothing changed of is so since the first night. By other rules it is refused.
    """
    rows = [row for row in accessories() if row["sku"] in ("LLH-TRAY-60", "PKM-ALU-60", "SPK-TRUG-2", "DUN-STEP")]
    later: Rows = [row | {"capacity [lb]": "250"} if row["sku"] == "PKM-ALU-60" else row for row in rows]
    later = [row | {"bike_weight_max [lb]": "50"} if row["sku"] == "SPK-TRUG-2" else row for row in later]
    of, listed = rigs()[:3], {"2026-11-27": rows, "2026-11-28": later}
    with small_blocks():
        for day, told in listed.items():
            audit(write_csv(tmp_path / f"{day}.csv", told), tmp_path / day, of, supplier="Fellside", day=day)
    first, second = tmp_path / "2026-11-27", tmp_path / "2026-11-28"
    write_fits(second, answerer().rulebook, tmp_path / "shop", "parquet", first)
    wanted: dict[tuple[str, str], list[tuple[str, str, str]]] = {}
    for rows_told in listed.values():
        for row, rig in ((row, rig) for row in rows_told for rig in of):
            case = answerer().engine.opened(pair_of(rig, facts_of(row)))
            fits = answerer().engine.evaluate(case).outcome in ("works", "conditional")
            one = answerer().allowances.told(case, "us") if fits else None
            told_as = (one.at_most, str(one.count or ""), one.each) if one else ("", "", "")
            wanted.setdefault((row["sku"], rig.key), []).append(told_as)
    fits_now = {(row["sku"], row["rig"]): row for row in read(tmp_path / "shop" / "fits.parquet")}
    assert {key: tuple(row[name] for name in ("at_most", "times", "each")) for key, row in fits_now.items()} == {
        key: pair[1] for key, pair in wanted.items() if key in fits_now
    }
    changes = {(row["sku"], row["rig"]): row for row in read(tmp_path / "shop" / "changes.parquet")}
    otherwise = {key for key, (was, now) in wanted.items() if was != now}
    assert changes.keys() == otherwise and {sku for sku, _ in otherwise} == {"PKM-ALU-60", "SPK-TRUG-2"}
    for key, row in changes.items():
        assert row["before"] == row["after"] == fits_now[key]["status"] and row["cause"] == "item"
        in_a_cell = [f"{most}, {times} of {each}" if times else most for most, times, each in wanted[key]]
        assert [row["carried_before"], row["carried_after"]] == in_a_cell
    for night in (first, second):
        with database.session() as session:
            put = put_fits_of(session, night, answerer().rulebook)
    kept_now = kept(database)
    assert {key for key, row in kept_now.items() if row.since == "2026-11-28"} == otherwise
    assert put.changed == len(otherwise)
    assert all((row.at_most, row.times, row.each) == wanted[key][1] for key, row in kept_now.items())
    other = replace(answerer().rulebook, digest="sha256:other")
    with pytest.raises(ProblemsFound, match="by other rules"):
        write_fits(second, other, tmp_path / "none", "csv")


def test_what_cannot_be_put_leaves_what_was(nights: tuple[Path, Path], tmp_path: Path, database: Database) -> None:
    """An audit again changes nothing; one of an earlier day, of nobody or with a fault halfway is refused whole."""
    first, second = nights
    for _ in range(2):
        with database.session() as session:
            put_fits_of(session, second, answerer().rulebook)
    before = {key: row.model_dump() for key, row in kept(database).items()}
    with pytest.raises(Conflict, match="of 2026-11-28 is kept already"), database.session() as session:
        put_fits_of(session, first, answerer().rulebook)
    later = FitsOrigin(supplier="Fellside", day="2026-11-29", rulebook="r", digest="d")
    rows = [[FitRow("A", "v", "n", "r", "fits", "")], [FitRow("A" * 81, "v", "n", "r", "fits", "")]]
    with pytest.raises(InvalidValue, match="longer than 80"), database.session() as session:
        put_fits(session, later, rows)
    with small_blocks():
        audit(write_csv(tmp_path / "items.csv", accessories()[:3]), tmp_path / "nobody")
    with pytest.raises(ProblemsFound, match="whose catalogue"), database.session() as session:
        put_fits_of(session, tmp_path / "nobody", answerer().rulebook)
    assert {key: row.model_dump() for key, row in kept(database).items()} == before


def test_of_two_audits_of_a_day_the_later_is_the_one_made_against_the_other(
    nights: tuple[Path, Path], tmp_path: Path, database: Database
) -> None:
    """The earlier one is refused after it, and so is one that was compared with nothing; put again it stands."""

    def audited(name: str, count: int, against: Path | None = None) -> Path:
        rows = [row | {"fits": ""} for row in accessories()[:count]]
        catalogue = write_csv(tmp_path / f"{name}.csv", rows)
        with small_blocks():
            audit(catalogue, tmp_path / name, supplier="Nettle", day="2026-11-28", against=against)
        return tmp_path / name

    first = audited("first", 8)
    second = audited("second", 6, first)
    third, apart = audited("third", 5, second), audited("apart", 4)
    for night in (first, first, second, second):
        with database.session() as session:
            put_fits_of(session, night, answerer().rulebook)
    before = {key: row.model_dump() for key, row in kept(database).items()}
    for night in (first, apart):
        with pytest.raises(Conflict, match=r"same day, 2026-11-28.*--against"), database.session() as session:
            put_fits_of(session, night, answerer().rulebook)
    assert {key: row.model_dump() for key, row in kept(database).items()} == before
    with database.session() as session:
        put_fits_of(session, third, answerer().rulebook)
    assert {row.delivery for row in kept(database).values()} != {row["delivery"] for row in before.values()}


def test_a_supplier_without_fits_is_of_its_last_audit_all_the_same(database: Database) -> None:
    """What fitted no more before is found so by the last one, so that no audit in between is put after it."""
    row = FitRow("A", "veh", "A name", "rig", "fits", "")
    for day, rows in (("2026-11-26", [row]), ("2026-11-27", []), ("2026-11-29", [])):
        with database.session() as session:
            put_fits(session, FitsOrigin(supplier="one", day=day, rulebook="r", digest=day), [rows])
    [one] = kept(database).values()
    assert (one.status, one.since, one.audited_on) == (NO_FIT, "2026-11-27", "2026-11-29")
    with pytest.raises(Conflict, match="of 2026-11-29 is kept"), database.session() as session:
        put_fits(session, FitsOrigin(supplier="one", day="2026-11-28", rulebook="r", digest="d"), [[row]])


def test_what_is_ended_at_any_step_leaves_what_was(nights: tuple[Path, Path], url: str) -> None:
    """Killed before each statement and before each end of a session: the night before, whole; again, all of it."""
    first, second = nights

    def rows() -> dict[tuple[str, str], dict[str, Any]]:
        with closing(Database(url)) as database:
            return {key: row.model_dump() for key, row in kept(database).items()}

    with driven(_PUT) as process:
        assert process.stdin is not None and process.stdout is not None
        stdin, stdout = process.stdin, process.stdout

        def put(night: Path, last: int = -1) -> tuple[int, int]:
            stdin.write(json.dumps([last, ["fits", str(night), "--store", url]]) + "\n")
            stdin.flush()
            code, done = json.loads(stdout.readline())
            return code, done

        assert put(first)[0] == 0
        before, last = rows(), 0
        while (found := put(second, last)) == (ENDED, -1):
            assert rows() == before, f"ended at step {last}"
            last += 1
        assert found == (0, last) and last > 4
        whole = rows()
        assert whole != before and put(second)[0] == 0 and rows() == whole


def test_suppliers_stand_beside_each_other(database: Database) -> None:
    """What one supplier's audit lets go of is no other's, though both sell the same number."""
    row = FitRow("A", "veh", "A name", "rig", "fits", "")
    for supplier, day, rows in (("one", "2026-11-27", [row]), ("two", "2026-11-27", [row]), ("one", "2026-11-28", [])):
        with database.session() as session:
            put_fits(session, FitsOrigin(supplier=supplier, day=day, rulebook="r", digest=supplier + day), [rows])
    with database.session() as session:
        told = {(one.supplier, one.status, one.since) for one in session.exec(select(StoredFit)).all()}
    assert told == {("one", NO_FIT, "2026-11-28"), ("two", "fits", "2026-11-27")}


def test_the_command_puts_fits_into_a_store(
    nights: tuple[Path, Path], url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With no folder for tables; told neither it refuses, and writes nothing."""
    first, _ = nights
    assert main(["fits", str(first)]) == 2 == main(["fits", str(first), "--store", url, "--against", str(first)])
    assert main(["fits", str(first), "--store", url]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "rows kept in sqlite:///" in said and "otherwise since 2026-11-27" in said
    with closing(Database(url)) as database:
        assert kept(database)


def test_what_is_to_be_learnt_first_is_of_the_hole_itself(tmp_path: Path) -> None:
    """An item's own label where that is what its kind waits for, as behind an extension; and never nothing."""
    rows = [row | {"extension_allowed": "", "fits": ""} for row in accessories() if row["kind"] == "bike_carrier"][:6]
    extension = next(one.values for one in stock().items("adapter") if one.sku == "BTX-REACH-2-14")
    of = [replace(rig, case=replace(rig.case, adapters=(extension,))) for rig in rigs()[:2]]
    with small_blocks():
        audit(write_csv(tmp_path / "items.csv", rows), tmp_path / "out", of)
    write_fits(tmp_path / "out", answerer().rulebook, tmp_path / "shop", "csv")
    holes = found(tmp_path / "shop", "holes")
    assert holes and all(row["measure_first"] for row in holes if row["to_measure"] != "0")
    asked = {row["measure_first"] for row in holes if row["to_measure"] != "0"}
    assert asked == {"whether the accessory is allowed in an extension"}
