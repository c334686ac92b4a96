"""Taking in what suppliers send: thirty messy files come through by the draft alone, with nothing guessed."""

import csv
from datetime import date
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from audit_recall import rows_of_text, taken_files
from audit_world import audit, found, pairs, rigs, summary
from demo_world import answerer
from workbooks import Rows, write_xlsx

from fitsvc.audits.asking import IntakeQuestions
from fitsvc.audits.cleaned import CATALOGUE, REMARKS, TYPED, write_cleaned
from fitsvc.audits.intake import take_in
from fitsvc.audits.mapping import FileMapping, read_mapping
from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound


def test_thirty_messy_files_come_through_by_the_draft_alone(tmp_path: Path) -> None:
    """Of 360 items all come through; each of 105 planted faults is told, and nothing else; no fact is read wrong.

    What cannot be read of an item is not written as if nothing were said of it.

    Precision and recall of what is told of cells are held to be 1 on these files, and so are the lost lines.
    """
    taken = taken_files(tmp_path)
    assert (taken.through, taken.lost) == (taken.items, taken.lost_planted)
    assert (taken.wrong, taken.missed, taken.right > 1_500) == (0, 0, True)
    assert taken.told == taken.planted
    assert len(taken.planted) == 105


@pytest.fixture
def supplier(tmp_path: Path) -> Path:
    """One supplier's first delivery."""
    (tmp_path / "first.csv").write_bytes(
        "Artikelnr.;Produktart;Vierkant;Gewicht [kg];Lager\n"
        "A-1;Kugelträger;50 mm;5,4;=1+1\nA-2;Trittstufe;50 mm;3,25;7\nA-3;Kugelträger;63 mm;1,250;2\n".encode("cp1252")
    )
    return tmp_path


def test_a_mapping_is_kept_by_supplier_and_tells_what_drifted(supplier: Path) -> None:
    """The first file drafts it, the second is read by it: columns, cells and a unit that are others are told."""
    reader, kept = answerer().reader, supplier / "suppliers"
    first = take_in(supplier / "first.csv", reader, kept, "fell")
    assert first.is_new
    assert first.words == ("cp1252", "semicolons between cells", "titles in line 1")
    text = (kept / "fell.yaml").read_text("utf-8")
    assert "nominal" in text
    assert '"Lager": ignore' in text
    again = take_in(supplier / "first.csv", reader, kept, "fell")
    assert (again.is_new, list(again.drifted)) == (False, [])
    (supplier / "next.csv").write_bytes(
        "Artikelnr.;Produktart;Vierkant;Gewicht [kg];Neu\n"
        "A-1;Kugelträger;50 mm;11,9;x\nA-2;Trittstufe;rund;7,16;x\nA-3;Kugelträger;eckig;2,76;x\n".encode("cp1252")
    )
    told = take_in(supplier / "next.csv", reader, kept, "fell").drifted
    assert [one.split(":")[0].split(" is ")[0] for one in told] == ["`Lager`", "`Vierkant`", "`Gewicht [kg]`", "`Neu`"]
    assert "pounds for kilograms" in told[2]
    # What may be in another unit is remarked in each row: it reads, and what is written for `load` has it as it stands.
    out = supplier / "out"
    command = ["intake", str(supplier / "next.csv"), "--supplier", "fell", "--into", str(kept), "-o", str(out)]
    assert main(command) == 0
    remarks = [row["remarks"] for row in rows_of_text(out / REMARKS)]
    assert len(remarks) == 3 and all(told[2] in one for one in remarks)
    with pytest.raises(ProblemsFound):
        take_in(supplier / "first.csv", reader, kept, "../fell")


def test_load_and_audit_take_the_mapping_and_what_is_written(supplier: Path) -> None:
    """The supplier's file by its mapping and the two catalogues written anew give one audit, and can be loaded."""
    command = ["intake", str(supplier / "first.csv"), "--supplier", "fell", "--into", str(supplier / "kept")]
    assert main([*command, "-o", str(supplier / "clean"), "--strict"]) == 0
    mapping = supplier / "kept" / "fell.yaml"
    told = []
    for number, (path, by) in enumerate(
        [(supplier / "first.csv", mapping), (supplier / "clean" / CATALOGUE, None), (supplier / "clean" / TYPED, None)]
    ):
        out = supplier / f"audit{number}"
        audit(path, out, rigs()[:1], mapping=by)
        told.append([(row["sku"], row["facts"]) for row in found(out, "items")])
        assert summary(out)["faults"]["bad_cells"] == 0
    assert told[0] == told[1] == told[2]
    url = f"sqlite:///{supplier / 'shop.db'}"
    assert main(["db", "upgrade", "--database", url]) == 0
    assert main(["load", str(supplier / "first.csv"), "--mapping", str(mapping), "--database", url]) == 0
    assert main(["load", str(supplier / "clean" / CATALOGUE), "--replace", "--database", url]) == 0
    assert rows_of_text(supplier / "clean" / REMARKS)[0] == {
        "Artikelnr.": "A-1", "Produktart": "Kugelträger", "Vierkant": "50 mm", "Gewicht [kg]": "5,4",
        "Lager": "'=1+1", "remarks": "",
    }  # fmt: skip


def test_load_says_what_a_mapping_leaves_open(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A column that was asked about and never answered is not dropped in silence; one that is to be ignored is."""
    path, kept = tmp_path / "a.csv", tmp_path / "kept"
    path.write_text("sku,kind,weight [lb],Ext\nA-1,bike_carrier,40,20 in\n", "utf-8")
    assert main(["intake", str(path), "--supplier", "fell", "--into", str(kept), "--no-ask"]) == 0
    url, mapping = f"sqlite:///{tmp_path / 'shop.db'}", kept / "fell.yaml"
    assert main(["db", "upgrade", "--database", url]) == 0
    load = ["load", str(path), "--mapping", str(mapping), "--replace", "--database", url]
    assert main(load) == 0
    assert f"`Ext` left open in {mapping}" in " ".join(capsys.readouterr().err.split())
    text = mapping.read_text("utf-8")
    mapping.write_text(text[: text.index("  #?", text.index('"Ext"'))] + "\n", "utf-8")
    assert main(load) == 0
    assert "left open" not in capsys.readouterr().err


def test_what_is_not_known_is_asked_and_not_guessed(tmp_path: Path) -> None:
    """A unit that no title tells, a column whose cells are something else, and two that look alike.

    Of one that is asked each row's remark says so, where it says anything.
    """
    (tmp_path / "a.csv").write_text(
        "sku,Wt,Tube,Length,Overall Length\nA,12,red,9 in,10 in\nB,9,,8 in,9 in\n", encoding="utf-8"
    )
    taken = take_in(tmp_path / "a.csv", answerer().reader, tmp_path, "x")
    asked = {one.title: one.question for one in taken.columns if one.taken is None}
    assert asked.keys() == {"Wt", "Tube", "Length", "Overall Length"}
    assert "in which unit" in asked["Wt"]
    command = ["intake", str(tmp_path / "a.csv"), "--supplier", "x", "--into", str(tmp_path)]
    assert main([*command, "-o", str(tmp_path / "clean")]) == 0
    told = [row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)]
    assert "Tube: not read: is it `shank`? 0% of its cells read as that" in told[0]
    assert ("Tube" in told[1], "Wt: not read" in told[1]) == (False, True)
    assert main(["intake", str(tmp_path / "a.csv"), "--supplier", "y", "--into", str(tmp_path), "--strict"]) == 1


def test_a_title_that_is_a_facts_own_name_is_that_fact(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever of its cells reads: each is told, no pair is nearer to a yes than by the titles alone, and it is asked.

    A title that is only known for it gives way, and of two with the very name neither is taken.
    """
    (tmp_path / "a.csv").write_text(
        "sku,kind,shank,min_class,length,Overall Length\n"
        "A,ball_mount,2 in,Kl. 4,9 in,99 in\nB,ball_mount,2 in,,8 in,98 in\nC,ball_mount,2 in,Kl. 3,9 in,99 in\n"
    )
    command = ["intake", str(tmp_path / "a.csv"), "--supplier", "x", "--into", str(tmp_path), "--strict"]
    assert main([*command, "-o", str(tmp_path / "clean")]) == 1
    words = " ".join(capsys.readouterr().out.split())
    assert "`min_class` is min_class: 0% of 2 cells read; not `Kl. 4`, `Kl. 3`" in words
    assert "`min_class`: is it `min_class`? 0% of its cells read as that" in words
    assert "0 rows and 2 cells could not be read" in words
    assert {row["sku"] for row in rows_of_text(tmp_path / "clean" / CATALOGUE)} == {"B"}
    told = {row["sku"]: row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)}
    assert told["A"].startswith("min_class: `Kl. 4` is not a choice")
    assert "min_class" not in told["B"]
    mapping = (tmp_path / "x.yaml").read_text("utf-8")
    assert '"min_class": min_class  #? is it `min_class`?' in mapping
    assert ('"length": length  # 100%' in mapping, '"Overall Length": ignore  #? several' in mapping) == (True, True)
    for name, by in (("titles", None), ("mapped", tmp_path / "x.yaml")):
        audit(tmp_path / "a.csv", tmp_path / name, rigs()[:4], mapping=by)
    assert found(tmp_path / "mapped", "bad_cells") == found(tmp_path / "titles", "bad_cells") != []
    assert pairs(tmp_path / "mapped") == pairs(tmp_path / "titles")
    (tmp_path / "b.csv").write_text("sku,weight [lb],weight [kg]\nA,9,4\n")
    taken = take_in(tmp_path / "b.csv", answerer().reader, tmp_path, "y")
    assert [one.title for one in taken.columns if one.taken is None] == ["weight [lb]", "weight [kg]"]


def test_figures_and_days_that_are_none_are_told(tmp_path: Path) -> None:
    """Parquet has figures that are not finite, and days where a fraction stood: each is told beside its item."""
    weights, pins = [9.5, float("nan"), float("inf")], [None, date(2026, 8, 5), None]
    pq.write_table(pa.table({"sku": ["A", "B", "C"], "weight [lb]": weights, "pin": pins}), tmp_path / "a.parquet")
    command = ["intake", str(tmp_path / "a.parquet"), "--supplier", "x", "--into", str(tmp_path)]
    assert main([*command, "-o", str(tmp_path / "clean")]) == 0
    told = {row["sku"]: row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)}
    assert (told["A"], "weight [lb]" in told["B"], "weight [lb]" in told["C"], "pin" in told["B"]) == ("", *[True] * 3)
    assert {row["sku"]: row["weight"] for row in rows_of_text(tmp_path / "clean" / CATALOGUE)}["A"] == "9.5 lb"


_MIXED = (
    "sku,subject,kind,pin,gross_weight [lb],coupler,diameter,rating [lb],fits_opening,offers_opening,plug,socket\n"
    "T1,trailer,,,1800,2 in,,,,,flat_4,\nT2,trailer,,,heavy,2 in,,,,,flat_4,\n"
    "A1,adapter,reducer_sleeve,,,,,,2-1/2 in,2 in,,\n"
    "B1,ball,,,,,2 in,6000,,,,\nW1,wiring_adapter,,,,,,,,,flat_4,blade_7\nP1,,locking_pin,5/8 in,,,,,,,,\n"
)


def test_columns_of_other_subjects_are_drafted_by_the_rows_of_these(tmp_path: Path) -> None:
    """An audit by the draft reads of each subject what one by the titles does; what reads is counted among its rows."""
    (tmp_path / "a.csv").write_text(_MIXED)
    taken = take_in(tmp_path / "a.csv", answerer().reader, tmp_path, "x")
    shares = {one.title: (one.share, one.cells) for one in taken.columns if one.taken is not None}
    assert shares.keys() == set(_MIXED.partition("\n")[0].split(","))
    assert (shares["kind"], shares["gross_weight [lb]"], shares["plug"]) == ((1.0, 2), (0.5, 2), (1.0, 3))
    for name, by in (("titles", None), ("mapped", tmp_path / "x.yaml")):
        audit(tmp_path / "a.csv", tmp_path / name, rigs(), mapping=by)
    for table in ("others", "bad_cells"):
        assert found(tmp_path / "mapped", table) == found(tmp_path / "titles", table) != []
    (tmp_path / "b.csv").write_text("sku,subject,kind\nP1,pin,\nP2,,locking_pin\n")
    audit(tmp_path / "b.csv", tmp_path / "b", rigs()[:1])
    (bad,) = found(tmp_path / "b", "bad_rows")
    assert bad["allowed"] == "it is one of `accessory`, `trailer`, `adapter`, `ball`, `wiring_adapter`"


def test_a_column_of_another_subject_is_asked_and_answered(tmp_path: Path) -> None:
    """By its own name, where rows are of it; of a file that has none it is no fact that could be meant."""
    (tmp_path / "a.csv").write_text(_MIXED.replace("gross_weight [lb]", "Weighs").replace("1800", "1800 lb"))
    reader = answerer().reader
    taken = take_in(tmp_path / "a.csv", reader, tmp_path, "x")
    questions = IntakeQuestions(tmp_path / "a.csv", reader, tmp_path / "x.yaml", taken.columns)
    assert [one.title for one in questions.columns()] == ["Weighs"]
    read = questions.told("Weighs", "gross_weight")
    assert (read.share, read.cells) == (0.5, 2)
    questions.keep(read)
    assert questions.columns() == []
    (tmp_path / "c.csv").write_text(_MIXED.replace("reducer_sleeve", "sleeve").replace("locking_pin", "lock"))
    taken = take_in(tmp_path / "c.csv", reader, tmp_path, "z")
    words = IntakeQuestions(tmp_path / "c.csv", reader, tmp_path / "z.yaml", taken.columns).words()
    assert [(one.word, "locking_pin" in one.members) for one in words] == [("lock", True)]
    assert take_in(tmp_path / "a.csv", reader, tmp_path, "x").drifted == []
    (tmp_path / "b.csv").write_text("sku,Weighs\nA,9 lb\n")
    taken = take_in(tmp_path / "b.csv", reader, tmp_path, "y")
    with pytest.raises(ProblemsFound, match="is no fact"):
        IntakeQuestions(tmp_path / "b.csv", reader, tmp_path / "y.yaml", taken.columns).told("Weighs", "gross_weight")


def test_sheets_that_are_not_read_are_told_each_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And where another looks like a list of items too it is asked which is read, until that is answered."""
    mounts: Rows = [["Item No", "Type", "Shank"], ["M-1", "Ball mount", "2 in"]]
    carriers: Rows = [["Item No", "Type", "Shank"], ["C-1", "Bike carrier", "2 in"], ["C-2", "Bike carrier", "2 in"]]
    path = write_xlsx(
        tmp_path / "a.xlsx", {"Read me": [["Our list"]], "Mounts": mounts, "Carriers": carriers, "No": []}
    )
    command = ["intake", str(path), "--supplier", "x", "--into", str(tmp_path)]
    for _ in range(2):
        assert main([*command, "--strict"]) == 1
        words = " ".join(capsys.readouterr().out.split())
        assert "Sheet `Read me` is not read: 1 row" in words
        assert "Sheet `Carriers` is not read: 3 rows" in words
        assert "More than one sheet looks like a list of items" in words
    kept = tmp_path / "x.yaml"
    assert 'sheet: "Mounts"  #? or "Carriers": only one is read' in kept.read_text("utf-8")
    kept.write_text(kept.read_text("utf-8").replace('#? or "Carriers": only one is read', ""), "utf-8")
    assert main([*command, "--strict"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert ("Sheet `Carriers` is not read" in words, "More than one" in words) == (True, False)
    audit(path, tmp_path / "out", rigs()[:1], mapping=kept)
    assert summary(tmp_path / "out")["rows"]["sheets_left"] == {"Read me": 1, "Carriers": 3}
    told = "These sheets of the workbook were not read: <code>Read me</code> (1 row), <code>Carriers</code> (3 rows)."
    assert told in (tmp_path / "out" / "summary.html").read_text("utf-8")
    one = write_xlsx(tmp_path / "one.xlsx", {"Mounts": mounts, "No": []})
    assert main(["intake", str(one), "--supplier", "y", "--into", str(tmp_path), "--strict"]) == 0
    assert "not read" not in capsys.readouterr().out


@pytest.mark.parametrize("between", ["\n", "\r\n", "\u00a0", "\u2028", "\t"])
def test_titles_are_kept_as_they_stand(tmp_path: Path, between: str) -> None:
    """What the draft reads is read by its mapping, too, and so is what is answered, whatever stands in the titles."""
    titles = [title.replace(" ", between) for title in ("Item No", "Shank (in)", "Weight (lb)", "Tongue max")]
    with (tmp_path / "a.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([titles, ["A-1", "2", "9", "500 lb"], ["A-2", "2-1/2", "10", "500 lb"]])
    reader = answerer().reader
    taken = take_in(tmp_path / "a.csv", reader, tmp_path, "x")
    questions = IntakeQuestions(tmp_path / "a.csv", reader, tmp_path / "x.yaml", taken.columns)
    assert [one.title for one in questions.columns()] == [titles[3]]
    questions.keep(questions.told(titles[3], "tongue_rating"))
    mapping = read_mapping(tmp_path / "x.yaml", reader.vocabulary)
    assert write_cleaned(tmp_path / "a.csv", reader, mapping, tmp_path / "clean").items == 2
    loaded = rows_of_text(tmp_path / "clean" / CATALOGUE)
    assert [(row["shank"], row["weight"], row["tongue_rating"]) for row in loaded] == [
        ("2 in", "9 lb", "500 lb"), ("2-1/2 in", "10 lb", "500 lb"),
    ]  # fmt: skip


def test_a_remark_says_what_stands_there(tmp_path: Path) -> None:
    """And by which unit it was read, where no title says one: nobody is told a size that the cell is furthest from."""
    (tmp_path / "a.csv").write_text(
        "Item No,Type,Shank,Weight\nA-1,Ball mount,2,3 Pfund\nA-2,Ball mount,50,9 lb\nA-3,Ball mount,2-1/2,9 lb\n"
    )
    command = ["intake", str(tmp_path / "a.csv"), "--supplier", "x", "--into", str(tmp_path)]
    assert main([*command, "-o", str(tmp_path / "clean")]) == 0
    told = {row["Item No"]: row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)}
    assert told["A-2"].startswith(
        "Shank: `50` is not a size of the accessory's shank size (did you mean 50 mm, by which"
    )
    assert told["A-2"].endswith("; without a unit it is read as `50 in`)")
    assert "a Pfund is 500 g and no pound" in told["A-1"]


def test_what_could_not_be_read_never_loads_as_nothing_said(tmp_path: Path) -> None:
    """A figure becomes anything plausible, which is no yes; an item whose odd choice opens a rule is left out.

    A word for what is not known is no such figure: it is written as nothing.
    """
    (tmp_path / "a.csv").write_text(
        "sku,kind,shank,weight [lb],tongue_rating [lb],min_class\n"
        "A,ball_mount,2 in,heavy,n/a,III\nB,ball_mount,2 in,9,500,3rd\nC,ball_mount,red,9,500,III\n"
    )
    mapping = FileMapping({}, frozenset({"n/a"}))
    made = write_cleaned(tmp_path / "a.csv", answerer().reader, mapping, tmp_path / "out")
    assert (made.items, made.held_back, made.bad_cells) == (3, 1, 3)
    loaded = {row["sku"]: row for row in rows_of_text(tmp_path / "out" / CATALOGUE)}
    assert loaded.keys() == {"A", "C"}
    assert loaded["C"]["shank"] == ""
    assert loaded["A"]["weight"] == "at least 1/4 lb"
    assert loaded["A"]["tongue_rating"] == ""
    by_file, by_parquet = tmp_path / "by-file", tmp_path / "by-parquet"
    (tmp_path / "map.yaml").write_text("unknown: [n/a]\ncolumns: {}\n")
    audit(tmp_path / "a.csv", by_file, rigs()[:6], mapping=tmp_path / "map.yaml")
    audit(tmp_path / "out" / TYPED, by_parquet, rigs()[:6])
    outcomes = [[(row["sku"], row["outcome"]) for row in pairs(out)] for out in (by_file, by_parquet)]
    assert outcomes[0] == outcomes[1]
    audit(tmp_path / "out" / CATALOGUE, tmp_path / "loaded", rigs()[:6])
    assert all(row["outcome"] != "works" for row in pairs(tmp_path / "loaded"))


def test_a_member_of_a_list_is_none_of_the_words_for_what_is_not_known(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`none` is a class where classes are meant, drafted or listed as unknown; `N/A` leaves its cell empty.

    Each item that is left out is named, and its row says for which column.
    """
    (tmp_path / "a.csv").write_text(
        "Art. No;Type;Shank;Class;Max load\nA;Step;2 in;none;500 lb\nB;Step;2 in;N/A;500 lb\n"
        "C;Step;2 in;III;N/A\nD;Step;2 in;third;500 lb\nE;Step;2 in;None;oops\n"
    )
    command = ["intake", str(tmp_path / "a.csv"), "--supplier", "x", "--into", str(tmp_path)]
    assert main(command) == 0
    kept = tmp_path / "x.yaml"
    assert 'unknown: ["N/A"]' in kept.read_text("utf-8")
    text = kept.read_text("utf-8").replace('"Class": ignore', '"Class": min_class')
    classes = dict.fromkeys("AE", "none") | dict.fromkeys("B", "") | dict.fromkeys("C", "III")
    for unknown in ('["N/A"]', '["N/A", none]'):
        kept.write_text(text.replace('["N/A"]', unknown), "utf-8")
        capsys.readouterr()
        assert main([*command, "-o", str(tmp_path / "clean")]) == 0
        shown = " ".join(capsys.readouterr().out.split())
        assert "`Class` is min_class: 80% of 5 cells read; not `third`" in shown
        assert "1 item cannot be loaded before that is mended, and left out of" in shown
        assert f"{CATALOGUE}:D;" in "".join(shown.split())  # wherever lines end
        loaded = {row["sku"]: row for row in rows_of_text(tmp_path / "clean" / CATALOGUE)}
        assert {sku: row["min_class"].casefold() for sku, row in loaded.items()} == {
            sku: member.casefold() for sku, member in classes.items()
        }
        assert (loaded["C"]["capacity"], loaded["E"]["capacity"]) == ("", "at least 0 lb")
        remarks = {row["Art. No"]: row["remarks"] for row in rows_of_text(tmp_path / "clean" / REMARKS)}
        assert (remarks["A"], remarks["B"], remarks["C"]) == ("", "", "")
        assert "Class: `third` is not a choice" in remarks["D"]
        assert "it is one of `none`, `I`" in remarks["D"]
        assert remarks["D"].endswith("; left out of catalogue.csv until `Class` is mended")
        assert "left out" not in remarks["E"]
    # Of a column that has no such member, and of one that says otherwise of the word, it is none.
    kept.write_text(text.replace('["N/A"]', "[none]").replace("min_class", "{fact: min_class, values: {none: ''}}"))
    assert main([*command, "-o", str(tmp_path / "clean")]) == 0
    assert {row["sku"]: row["min_class"] for row in rows_of_text(tmp_path / "clean" / CATALOGUE)}["A"] == ""


def test_rows_that_are_not_written_anew_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Those of balls, trailers and adapters are counted, with where they are read: none is lost in silence."""
    (tmp_path / "a.csv").write_text("sku,subject,kind\nA,,step\nB,ball,\nC,ball,\nD,trailer,\n")
    command = ["intake", str(tmp_path / "a.csv"), "--supplier", "x", "--into", str(tmp_path)]
    assert main([*command, "-o", str(tmp_path / "clean")]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "1 item written" in words
    assert "Not written anew: 2 balls, 1 trailer; `fitsvc audit --mapping" in words
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    assert main(["db", "upgrade", "--database", url]) == 0
    assert main(["load", str(tmp_path / "a.csv"), "--mapping", str(tmp_path / "x.yaml"), "--database", url]) == 2
    assert "2 balls, 1 trailer are not read by a mapping" in " ".join(capsys.readouterr().err.split())


def test_cells_that_a_spreadsheet_takes_for_formulas_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What `load` takes keeps a number as it is, and it is said; what goes back to the supplier is safe."""
    (tmp_path / "a.csv").write_text("sku,kind,weight [lb]\n=SUM(A1),step,18\nB,step,18\n")
    command = ["intake", str(tmp_path / "a.csv"), "--supplier", "x", "--into", str(tmp_path)]
    assert main([*command, "-o", str(tmp_path / "clean")]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "A spreadsheet takes 1 cell of" in words and "do not open it in one" in words
    assert [row["sku"] for row in rows_of_text(tmp_path / "clean" / CATALOGUE)] == ["=SUM(A1)", "B"]
    assert [row["sku"] for row in rows_of_text(tmp_path / "clean" / REMARKS)] == ["'=SUM(A1)", "B"]


def test_lines_that_are_no_item_are_left_out(tmp_path: Path) -> None:
    """Totals, headings, titles again and notes do not go into what is loaded, and each is told in the remarks."""
    odd = ["BALL MOUNTS,,,", "Item,kind,weight [lb],fits", "All weights are net,,,", "Summe,,30.5,"]
    rows = ["A-1,ball_mount,12.5,rig_a", *odd[:2], "A 3,step,18,", *odd[2:]]
    (tmp_path / "a.csv").write_text("\n".join(["Item,kind,weight [lb],fits", *rows]) + "\n")
    (tmp_path / "map.yaml").write_text("columns: {Item: sku}")
    mapping = read_mapping(tmp_path / "map.yaml", answerer().rulebook.vocabulary)
    made = write_cleaned(tmp_path / "a.csv", answerer().reader, mapping, tmp_path / "out")
    with (tmp_path / "out" / CATALOGUE).open(encoding="utf-8", newline="") as stream:
        assert [row["sku"] for row in csv.DictReader(stream)] == ["A-1", "A 3"]
    typed = pq.read_table(tmp_path / "out" / TYPED).to_pylist()
    assert [(row["sku"], row["fits"]) for row in typed] == [("A-1", "rig_a"), ("A 3", "")]
    with (tmp_path / "out" / REMARKS).open(encoding="utf-8-sig", newline="") as stream:
        told = [row["Item"] for row in csv.DictReader(stream) if "not like an item" in row["remarks"]]
    assert (told, made.items, made.left_out) == (["BALL MOUNTS", "Item", "All weights are net", "Summe"], 2, 4)
