"""Claims that name vehicles as suppliers do: what each is expanded to, what is unclear, and what nobody stores."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from audit_world import accessories, audit, found, pairs, rigs, summary, write_csv
from demo_world import answerer

from fitsvc.audits.called_vehicles import in_words
from fitsvc.audits.named_vehicles import OURS, Meant, NamedVehicles
from fitsvc.audits.summary import faults_of
from fitsvc.audits.thresholds import crossed, read_threshold
from fitsvc.document import Json


@cache
def _named() -> NamedVehicles:
    return NamedVehicles(rigs(), answerer().rulebook)


def _vehicles(places: tuple[int, ...]) -> set[str]:
    """The vehicles of some rigs, by their ids without what all have."""
    return {rigs()[place].vehicle.removeprefix("veh_") for place in places}


def _meant(**cells: str) -> Meant:
    return _named().meant({("except" if name == "but" else name): cell for name, cell in cells.items()})


SUVS = {"bothy_2021", "bothy_2021_long", "saltmarsh_2022", "saltmarsh_2022_seven"}
SHORT, LONG, PLAIN = "muckle_2023_short", "muckle_2023_long", "muckle_2023_short_plain"


@pytest.mark.parametrize(
    ("cells", "vehicles", "unstored"),
    [
        ({"vehicle": "2023 Brannoch Muckle long bed"}, {LONG}, ""),
        ({"vehicle": "Muckle long bed, all but 4-wheel drive"}, set(), "Muckle long bed, all but 4-wheel drive"),
        ({"vehicle": "2021–2023 Brannoch Muckle short bed"}, {SHORT, PLAIN}, "2021 to 2022"),
        ({"vehicle": "up to 2023 Muckle 4x4"}, {SHORT, LONG}, "up to 2022"),
        ({"vehicle": "2023+ Brannoch Muckle long bed"}, {LONG}, "2024 and later"),
        ({"year": "2023+", "make": "Brannoch", "model": "Muckle"}, {SHORT, LONG, PLAIN}, "2024 and later"),
        ({"year": "2020+", "model": "Muckle", "bed": "long"}, {LONG}, "2020 to 2022, 2024 and later"),
        ({"vehicle": "'23 muckle crew cab, except 2wd"}, {SHORT}, ""),
        ({"vehicle": "2023 Muckle without tow package"}, {PLAIN}, ""),
        ({"vehicle": "2023 Muckle, no tow package, short bed"}, {PLAIN}, ""),
        ({"model": "Muckle", "vehicle": "no tow package"}, {PLAIN}, ""),
        ({"vehicle": "2023 Muckle truck except long bed and 4x4"}, None, ""),
        ({"vehicle": "Brannoch Muckle Oxter"}, {"oxter_2024"}, ""),
        ({"vehicle": "2019-2022 Saltmarsh"}, {"saltmarsh_2022", "saltmarsh_2022_seven"}, "2019 to 2021"),
        # A year that the claim itself leaves out is none that is wanting; one of which it leaves out some vehicles is.
        ({"vehicle": "2019-2022 Saltmarsh without 2020"}, {"saltmarsh_2022", "saltmarsh_2022_seven"}, "2019, 2021"),
        ({"from": "2020", "to": "2023", "model": "Muckle", "bed": "long", "but": "2020-2022"}, {LONG}, ""),
        ({"vehicle": "2020+ Muckle long bed except 2021, 2025+"}, {LONG}, "2020, 2022, 2024"),
        ({"vehicle": "2022-2023 Muckle long bed except 2022 short bed"}, {LONG}, "2022"),
        ({"vehicle": "2019 Gorsewick Tarn"}, set(), "2019 gorsewick tarn"),
        ({"vehicle": "2022 Saltmarsh Seven"}, {"saltmarsh_2022_seven"}, ""),
        ({"year": "2020-2023", "model": "Muckle", "bed": "short", "but": "4x4"}, {PLAIN}, "2020 to 2022"),
        ({"from": "2023", "to": "2025", "model": "Muckle"}, {SHORT, LONG, PLAIN}, "2024 to 2025"),
        ({"vehicle": "2021-2022 Bothy and Saltmarsh"}, SUVS, ""),
        ({"make": "Brannoch", "body": "SUV"}, {"bothy_2021", "bothy_2021_long"}, ""),
        ({"make": "Gorsewick", "model": "Tarn", "year": "2020"}, set(), "Gorsewick Tarn 2020"),
        ({"year": "2023.0", "model": "Muckle", "bed": "long"}, {LONG}, ""),
        ({"from": "2023.0", "to": "2024.0", "model": "Muckle", "bed": "long"}, {LONG}, "2024"),
    ],
)  # fmt: skip
def test_names_are_expanded(cells: dict[str, str], vehicles: set[str] | None, unstored: str) -> None:
    """A name means the rigs of the vehicles that are so, and tells the years that are stored of none of them."""
    found = _meant(**cells)
    if vehicles is None:
        assert found.problem
        return
    assert (_vehicles(found.rigs), found.may, found.problem) == (vehicles, (), "")
    assert found.unstored == unstored


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"vehicle": "2023-2024 Muckle"}, "may mean 2024 Brannoch Muckle Oxter"),
        ({"vehicle": "2021 Bothy short bed"}, "whether it is `short bed` is not told"),
        ({"vehicle": "2022 Saltmarsh five seats"}, "whether it is `five` is not told"),
        ({"vehicle": "2023 Mukle"}, "`mukle`"),
        ({"vehicle": "2023 Muckle diesel"}, "`diesel`"),
        ({"vehicle": "2023 Muckle except diesel"}, "`diesel`"),
        ({"vehicle": "2023 Muckle short or long bed"}, "two ways"),
        ({"vehicle": "2023 Muckle except crew cab and 4x4"}, "may mean"),
        ({"vehicle": "2023 Muckle crew cab or 4x4"}, "two ways"),
        ({"vehicle": "2023 Muckle and 2021 Bothy"}, "two ways"),
        ({"vehicle": "2023 Muckle including 4x4"}, "`including`"),
        ({"vehicle": "2023 & up Muckle"}, "`up`"),
        ({"vehicle": "2015-20 Muckle"}, "`2015-20`"),
        ({"vehicle": "pre-2024 Muckle"}, "`pre-2024`"),
        ({"vehicle": "all models"}, "no vehicle is named"),
        ({"vehicle": "any vehicle with a 2 in receiver"}, "no vehicle is named"),
        ({"vehicle": "fits most trucks"}, "no vehicle is named"),
        # What is said not to fit says of no other vehicle that it does.
        ({"vehicle": "Not for 2023 Brannoch Muckle"}, "nothing that it fits"),
        ({"vehicle": "no 2023 Brannoch Muckle"}, "nothing that it fits"),
        ({"vehicle": "does not fit 2023 Brannoch Muckle"}, "nothing that it fits"),
        ({"vehicle": "will not fit the 2023 Brannoch Muckle"}, "nothing that it fits"),
        ({"vehicle": "all models except 2023 Brannoch Muckle"}, "nothing that it fits"),
        ({"vehicle": "fits most trucks, excluding Muckle"}, "nothing that it fits"),
        ({"but": "2023 Brannoch Muckle"}, "nothing that it fits"),
        ({"vehicle": "not for 2023 Muckle, 2021 Bothy"}, "two ways"),
        ({"year": "2023", "vehicle": "not for Muckle, Bothy"}, "two ways"),
        ({"vehicle": "2023 Brannoch Muckle: no"}, "excepts nothing"),
        ({"vehicle": "2023 Brannoch Muckle (does not fit)"}, "`does`"),
        (
            {"model": "Muckle", "bed": "short", "but": "crew cab and 4x4"},
            "`Muckle short except crew cab and 4x4` may mean",
        ),
        ({"year": "2023-2019", "model": "Muckle"}, "after the last"),
        ({"year": "new", "model": "Muckle"}, "names no years"),
        ({"from": "3/2018", "model": "Muckle"}, "`3/2018` is a month"),
        ({"vehicle": "from 3/2018 Muckle"}, "`3/2018` is a month"),
        ({"year": "2018.5", "model": "Muckle"}, "names no years"),
        ({"model": "Mukle"}, "`mukle`"),
        ({"model": "Muckle", "bed": "huge"}, "`huge` is not known"),
        ({"model": "Muckle", "body": "lorry"}, "`lorry` is not known"),
        ({"vehicle": "Muckle " * 100}, "characters"),
    ],
)
def test_what_is_unclear_is_told(cells: dict[str, str], words: str) -> None:
    """What may be meant, is misspelt or can be read in two ways is told, with what would be taken."""
    found = _meant(**cells)
    assert words in found.problem
    assert found.help
    is_open, is_theirs = "may mean" in found.problem, "Oxter" in words or "crew cab and 4x4" in str(cells)
    assert ("columns of their own" in found.help) == (is_open and is_theirs and "vehicle" in cells)
    assert (found.help == OURS) == bool(found.untold) == (is_open and not is_theirs)


@pytest.mark.parametrize(
    ("said", "near"),
    [
        ("2022-24 Brannoch Muckle", "2022-2024"),
        ("23 Muckle", "2023"),
        ("'23 Muckle longbed", "long bed"),
        ("2023 Muckle 4wheel drive", ""),
        ("2023 Mukle", "muckle"),
    ],
)
def test_how_a_word_is_written_is_told(said: str, near: str) -> None:
    """Years cut short, and words written as one, are asked about in the form in which they are read; none is taken."""
    found = _meant(vehicle=said)
    assert not found.rigs and not found.may and found.problem
    assert found.help == (
        f"did you mean `{near}`?"
        if near
        else "write it as a label of the vehicle says it, what is excepted behind `except`, or name the rig"
    )


def test_an_id_under_vehicle_is_what_it_is(tmp_path: Path) -> None:
    """A rig's or a vehicle's id claims its rigs whichever column it stands in: no false claim is lost so."""
    row = next(row for row in accessories() if (row["kind"], row["shank"]) == ("ball_mount", "2-1/2 in"))
    ids = ["rig_farm_muckle", "veh_muckle_2023_long", "rig_farm_muckle; veh_muckle_2023_long"]
    verdicts = dict[str, list[tuple[str, str]]]()
    for column in ("rig", "vehicle"):
        claims = tmp_path / f"{column}.csv"
        claims.write_text(f"sku,{column}\n" + "".join(f"{row['sku']},{one}\n" for one in ids))
        audit(write_csv(tmp_path / "a.csv", [row]), tmp_path / column, claims=claims)
        verdicts[column] = [(one["verdict"], one["rigs"]) for one in found(tmp_path / column, "claims_checked")]
    assert verdicts["rig"] == verdicts["vehicle"]
    assert {verdict for verdict, _ in verdicts["vehicle"]} == {"contradicted"}
    claims = tmp_path / "both.csv"
    claims.write_text(
        f"sku,vehicle,rig,bed\n{row['sku']},rig_farm_muckle,rig_farm_muckle,\n{row['sku']},rig_farm_muckle,,long\n"
    )
    audit(tmp_path / "a.csv", tmp_path / "both", claims=claims)
    assert [one["verdict"] for one in found(tmp_path / "both", "claims_checked")] == ["unclear"] * 2


def test_what_our_own_vehicles_do_not_tell_is_no_fault_of_the_supplier(tmp_path: Path) -> None:
    """It stays unclear, and stands in the list of what we have to tell and not in his; years are told as people do."""
    row = next(row for row in accessories() if (row["kind"], row["shank"]) == ("ball_mount", "2 in"))
    claims = tmp_path / "claims.csv"
    lines = ("2021,Bothy,short", "2021,Bothy,short", "2021,Bthy,")
    claims.write_text("sku,from,model,bed\n" + "".join(f"{row['sku']},{one}\n" for one in (*lines, ",,")))
    told = audit(write_csv(tmp_path / "a.csv", [row]), tmp_path / "out", claims=claims)
    assert told["claims"]["lines"] == {"unclear": 4}
    assert (told["faults"]["bad_claims"], told["claims_of_ours"]) == (2, 2)
    claims.write_text(f"sku,from,model,bed\n{row['sku']},2021,Bothy,short\n")
    alone = audit(tmp_path / "a.csv", tmp_path / "alone", claims=claims)
    assert alone["claims"]["lines"] == {"unclear": 1}
    assert faults_of(alone) == 0, "a night does not fail for what is ours to mend"
    held = crossed(read_threshold("claims_of_ours > 0"), alone, tmp_path / "alone", None)
    assert held == "`claims_of_ours > 0` is crossed: 1"
    listed = found(tmp_path / "out", "vehicles_to_tell")
    assert [(one["wanting"], one["claims"]) for one in listed] == [("bed short", "2")] * 2
    assert all("2021 Brannoch Bothy" in one["vehicle"] for one in listed)
    fixed = [one for one in found(tmp_path / "out", "fix_list") if one["sort"] == "bad_claim"]
    assert [(one["row"], one["column"]) for one in fixed] == [("4", "model"), ("5", "model")]
    assert "Vehicles of ours that are told too little of" in (tmp_path / "out" / "summary.html").read_text("utf-8")
    assert in_words([(2015, 2100), (1900, 2014), (2020, 2020)]) == "2015 and later, up to 2014, 2020"


def test_names_that_two_makers_use() -> None:
    """A model of two makes is not taken for both."""
    one = next(rig for rig in rigs() if rig.vehicle == "veh_muckle_2023_long")
    other = {**one.case.texts, "vehicle.make": "Quillon"}
    two = replace(one, key="rig_other", label="", case=replace(one.case, texts=other))
    named = NamedVehicles([one, two], answerer().rulebook)
    assert named.meant({"vehicle": "2023 Muckle"}).rigs == ()
    assert "write the make" in named.meant({"model": "Muckle"}).help
    assert named.meant({"vehicle": "2023 Quillon Muckle"}).rigs == (1,)


def test_claims_are_written_back(tmp_path: Path) -> None:
    """Each line of theirs comes back with what it was expanded to and what it comes to; none that is unclear holds."""
    rows = [row for row in accessories() if row["kind"] == "ball_mount" and row["shank"] in ("2 in", "2-1/2 in")]
    claims = tmp_path / "claims.csv"
    skus = [row["sku"] for row in rows]
    names = ["2023 Muckle long bed", "2023 Muckle diesel", "2019 Muckle", "2021-2023 Muckle 4x4", "2023-2024 Muckle"]
    lines = [f'{sku},"{name}",1,=note' for sku in skus for name in names]
    claims.write_text("sku,Vehicle,row,Remarks\n" + "\n".join(lines) + "\n")
    told = audit(write_csv(tmp_path / "a.csv", rows), tmp_path / "out", claims=claims)
    outcomes = {(row["sku"], row["rig"]): row["outcome"] for row in pairs(tmp_path / "out")}
    reasons = {row["reason"] for row in found(tmp_path / "out", "claims")}
    checked = found(tmp_path / "out", "claims_checked")
    assert [(row["sku"], row["Vehicle"], row["their row"]) for row in checked] == [
        (sku, name, "1") for sku in skus for name in names
    ]
    for row in checked:
        listed = [rig for rig in row["rigs"].split("; ") if rig]
        came_to = {outcomes[row["sku"], rig] for rig in listed}
        assert row["verdict"] == _verdict(row["Vehicle"], came_to)
        failing = [rig for rig in listed if outcomes[row["sku"], rig] == "fails"]
        assert row["fails_on"] == "; ".join(failing)
        if row["verdict"] == "contradicted":
            assert row["why"] in reasons
        assert row["why"].startswith("no rig is of it") == (row["verdict"] == "not stored")
    assert {row["verdict"] for row in checked} >= {"contradicted", "unclear", "not stored"}
    assert {row["not_stored"] for row in checked if "2021-" in row["Vehicle"]} == {"2021 to 2022"}
    unclear = {row["column"] for row in found(tmp_path / "out", "bad_claims")}
    assert unclear == {"Vehicle"}
    assert told["claims"]["passed_over"] == ["row", "Remarks"]
    assert sum(told["claims"]["lines"].values()) == len(lines)
    fixed = [row for row in found(tmp_path / "out", "fix_list") if row["sort"] in ("bad_claim", "false_claim")]
    at = {(row["row"], row["sku"], row["Vehicle"]) for row in checked if row["verdict"] in ("contradicted", "unclear")}
    assert {row["file"] for row in fixed} == {"claims.csv"}
    assert all((row["row"], row["stands"].split("; ")[0]) in {(line, name) for line, _, name in at} for row in fixed)


def test_what_is_no_name_in_json_is_a_bad_claim(tmp_path: Path) -> None:
    """Members under names of their own are told as they stand there, and are no vehicle that nobody stores."""
    row = next(row for row in accessories() if (row["kind"], row["shank"]) == ("ball_mount", "2 in"))
    items = tmp_path / "items.jsonl"
    claimed: list[Json] = [{"rig": "rig_farm_muckle"}, [None], True, ["rig_farm_muckle"]]
    lines = [row | {"sku": f"J{place}", "fits": fits} for place, fits in enumerate(claimed)]
    items.write_text("".join(json.dumps(line) + "\n" for line in lines))
    audit(items, tmp_path / "out")
    verdicts = [row["verdict"] for row in found(tmp_path / "out", "claims_checked")]
    assert verdicts[:3] == ["unclear"] * 3 and verdicts[3] != "unclear"
    told = found(tmp_path / "out", "bad_claims")
    assert told[0]["problem"] == '`{"rig": "rig_farm_muckle"}` is neither a rig nor a vehicle'


def test_a_pair_that_unclear_lines_name_alone_does_not_hold(tmp_path: Path) -> None:
    """It is counted beside those that do; a line of no item comes back, and all are in the first sentence."""
    row = next(row for row in accessories() if (row["kind"], row["shank"]) == ("ball_mount", "2 in"))
    names = ["2024 Brannoch Muckle Oxter", "2023-2024 Muckle"]
    claims = tmp_path / "claims.csv"
    claims.write_text(f"sku,vehicle\n{row['sku']},{names[1]}\nnone,{names[0]}\n")
    told = audit(write_csv(tmp_path / "a.csv", [row]), tmp_path / "out", claims=claims)["claims"]
    assert told["lines"] == {"no item": 1, "unclear": 1}
    assert (told["works"], told["conditional"]) == (0, 0)
    assert told["unclear"] + told["undetermined"] + told["fails"] == told["claims"]
    page = (tmp_path / "out" / "summary.html").read_text("utf-8")
    assert "Of 2 claims as they are written" in page and "1 is unclear, 1 is about no item, and 0 hold" in page


def _verdict(name: str, outcomes: set[str]) -> str:
    """What a line comes to, by the outcomes of all that it names."""
    if "fails" in outcomes:
        return "contradicted"
    if "diesel" in name or "-2024" in name:
        return "unclear"
    if not outcomes:
        return "not stored"
    if "undetermined" in outcomes:
        return "open"
    held = "holds on conditions" if "conditional" in outcomes else "holds"
    return f"{held} where stored" if "2021-" in name else held


def test_names_stand_in_the_catalogue_too(tmp_path: Path) -> None:
    """A cell of `fits` may name ids and vehicles in words, with semicolons between them."""
    rows = accessories()[:2]
    rows[0]["fits"] = "rig_farm_muckle; 2024 Brannoch Muckle Oxter | 2023 Muckle long bed, 4x4"
    rows[1]["fits"] = "rig_farm_muckle rig_none"
    audit(write_csv(tmp_path / "a.csv", rows), tmp_path / "out")
    claimed = {(row["sku"], row["rig"]) for row in pairs(tmp_path / "out") if row["claimed"]}
    wanted = {"veh_oxter_2024", "veh_muckle_2023_long"}
    assert claimed == {(rows[0]["sku"], rig.key) for rig in rigs() if rig.vehicle in wanted} | {
        (row["sku"], "rig_farm_muckle") for row in rows
    }
    assert [row["fits"] for row in found(tmp_path / "out", "claims_checked")] == [
        "rig_farm_muckle",
        "2024 Brannoch Muckle Oxter",
        "2023 Muckle long bed, 4x4",
        "rig_farm_muckle",
        "rig_none",
    ]
    assert summary(tmp_path / "out")["claims"]["lines"]["unclear"] == 1
    (told,) = found(tmp_path / "out", "bad_claims")
    assert told["problem"] == "`rig_none` is neither a rig nor a vehicle"


def test_a_number_that_is_almost_one_of_the_catalogue_is_asked_about_and_not_taken(tmp_path: Path) -> None:
    """Small letters, or zeros that a spreadsheet took away: told as likely, each of them where several are like it."""
    row = next(row for row in accessories() if (row["kind"], row["shank"]) == ("ball_mount", "2 in"))
    numbers = ["A-004", "00123", "b-1", "B-1"]
    asked = {"a-004": "A-004", "123": "00123", "000123": "00123", "B-01": "", "0b-1": "b-1` or `B-1", "A-04": ""}
    claims = tmp_path / "claims.csv"
    claims.write_text("sku,rig\n" + "".join(f"{one},{rigs()[0].key}\n" for one in asked))
    rows = [row | {"sku": one} for one in numbers]
    told = audit(write_csv(tmp_path / "a.csv", rows), tmp_path / "out", claims=claims)["claims"]
    assert (told["claims"], told["lines"]) == (0, {"no item": 6}), "none is joined to what it is like"
    why = {one["sku"]: one["why"] for one in found(tmp_path / "out", "claims_checked")}
    for one, likely in asked.items():
        assert why[one] == (f"`{one}` is no item: is `{likely}` meant?" if likely else f"`{one}` is no item")
    helps = {one["problem"]: one["allowed"] for one in found(tmp_path / "out", "bad_claims")}
    assert "spreadsheets take away" in helps["`123` is no item: is `00123` meant?"]
    assert "spreadsheets" not in helps["`A-04` is no item"]
