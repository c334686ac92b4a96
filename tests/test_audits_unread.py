"""What an audit makes of a cell that cannot be read, or tells nothing: the fact is not known; never a yes."""

import csv
import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from audit_recall import rows_of_text
from audit_world import Rows, accessories, audit, found, pairs, rigs, summary, write_csv
from demo_world import SEED, answerer, world, yaml_of

from fitsvc.audits.blocks import Kernel
from fitsvc.audits.cleaned import CATALOGUE, write_cleaned
from fitsvc.audits.mapping import read_mapping
from fitsvc.audits.others import JUDGED
from fitsvc.audits.reading import items_of_columns
from fitsvc.audits.rigs import AuditRig
from fitsvc.document import Document
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import ListType, Value
from fitsvc.loading.cells import read_cell
from fitsvc.loading.entries import wire_fact
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.vocabulary import Fact

_UNREAD = "??"
_YES = OUTCOMES.index("conditional")
_FEW, _EACH = 3, 4


@cache
def _kernel() -> Kernel:
    return Kernel(answerer().rulebook)


def _outcomes(rows: Rows) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
    """The outcome of each rig with each row, worst last."""
    cells = {title: [row[title] for row in rows] for title in rows[0]} | {"sku": [str(n) for n in range(len(rows))]}
    items, _, _ = items_of_columns(cells, answerer().reader, "rows")
    block = _kernel().block(items)
    return np.array([result.outcome[block.signature_of] for _, result in block.judge(rigs()[::_EACH])], np.int64)


def test_an_unreadable_cell_never_makes_a_yes() -> None:
    """Each cell in turn, and each with the next, made unreadable: what fits then fits as it was, and with it empty.

    Emptied instead, some cells make a yes of a no, as what a rule asks of a fact is not asked of an item without it:
    an audit that took what it cannot read for empty would say so.
    """
    titles = [title for title in accessories()[0] if title not in ("sku", "fits")]
    whole, unread, blank, both, neither = Rows(), Rows(), Rows(), Rows(), Rows()
    for row in accessories()[::2]:
        for title, other in zip(titles, [*titles[1:], titles[0]], strict=True):
            whole.append(row)
            unread.append({**row, title: _UNREAD})
            blank.append({**row, title: ""})
            both.append({**row, title: _UNREAD, other: _UNREAD})
            neither.append({**row, title: "", other: ""})
    true, open_, empty, open_two, empty_two = map(_outcomes, (whole, unread, blank, both, neither))
    assert ((empty <= _YES) & (true > _YES)).sum() > 10, "no cell matters by being there"
    for said, others in ((open_, (true, empty)), (open_two, (true, open_, empty_two))):
        assert (said <= _YES).sum() > 100
        for known in others:
            assert not ((said <= _YES) & (known > _YES)).any(), "a yes that rests on what could not be read"
    # Nor does it make a no: what fails without it fails with what the cell says and with nothing there.
    fails = OUTCOMES.index("fails")
    assert not ((open_ == fails) & ((true != fails) | (empty != fails))).any()


def test_an_odd_cell_costs_a_fact_and_not_the_row(tmp_path: Path) -> None:
    """The row is an item, its claim is judged, and the cell is told with its row, its column and what is taken."""
    rig = next(rig for rig in rigs() if rig.key == "rig_farm_muckle")
    (tmp_path / "a.csv").write_text(
        "sku,kind,shank,weight [lb],fits\n"
        f"A,ball_mount,2-1/2 in,heavy,{rig.key}\nB,ball_mount,2.05 in,9,{rig.key}\nTotal,,,327,\n"
    )
    audit(tmp_path / "a.csv", tmp_path / "out", [rig])
    told = [(row["row"], row["sku"], row["column"], row["cell"]) for row in found(tmp_path / "out", "bad_cells")]
    assert told == [
        *(("2", "A", "weight [lb]", "heavy"), ("3", "B", "shank", "2.05 in"), ("4", "Total", "sku", "Total")),
    ]
    assert "`2 in` (50.8 mm)" in found(tmp_path / "out", "bad_cells")[1]["allowed"]
    assert found(tmp_path / "out", "bad_rows") == []
    outcomes = {row["sku"]: row["outcome"] for row in pairs(tmp_path / "out")}
    assert outcomes == {"A": "fails", "B": "undetermined", "Total": "undetermined"}
    assert {row["rule"] for row in found(tmp_path / "out", "claims") if row["sku"] == "A"} == {"shank-fits-opening"}
    rows = summary(tmp_path / "out")["rows"]
    assert (rows["rows"], rows["items"], rows["bad_rows"], rows["bad_cells"]) == (3, 3, 0, 3)


def test_a_number_that_a_sheet_made_is_told(tmp_path: Path) -> None:
    """What looks like a figure or a day of a sheet is an item as others are, and told; no number of their own is."""
    made, own = ["1.23457E+11", "4.5E3", "12-May", "Sep-12", "1E+05"], ["4E5", "MAR-20", "12-MAY-A", "5.8", "A-4.5E3"]
    rows = [{"sku": sku, "kind": "step"} for sku in (*made, *own)]
    audit(write_csv(tmp_path / "a.csv", rows), tmp_path / "out", rigs()[:1])
    told = [(row["sku"], row["column"]) for row in found(tmp_path / "out", "bad_cells")]
    assert told == [(sku, "sku") for sku in made]
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == [*made, *own]
    assert found(tmp_path / "out", "bad_rows") == []
    audit(write_csv(tmp_path / "b.csv", [{**row, "subject": "trailer"} for row in rows]), tmp_path / "b", rigs()[:1])
    assert [(row["sku"], row["column"]) for row in found(tmp_path / "b", "bad_cells")] == told


def test_a_row_is_lost_for_its_number_or_its_cells_alone(tmp_path: Path) -> None:
    """Missing and repeated numbers are told, of a row too that had too many cells; what was read adds up."""
    (tmp_path / "a.csv").write_text(
        "sku,kind\nA,step,1\nA,step\n,step\nB,stp\nB,step\nC,step\nD,step,9\n", encoding="utf-8"
    )
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:_FEW])
    assert [(row["row"], row["column"]) for row in found(tmp_path / "out", "bad_rows")] == [
        *(("2", ""), ("3", "sku"), ("4", "sku"), ("6", "sku"), ("8", "")),
    ]
    assert [row["sku"] for row in found(tmp_path / "out", "items")] == ["B", "C"]
    rows = summary(tmp_path / "out")["rows"]
    assert rows["rows"] == rows["items"] + rows["bad_rows"] == 7


def test_words_for_what_is_not_known_stand_once_for_a_file(tmp_path: Path) -> None:
    """`unknown` words are empty cells in any column, whatever their case; `values` are found so too."""
    (tmp_path / "map.yaml").write_text(
        "unknown: [N/A, TBD, '—']\ncolumns:\n  Sort: {fact: kind, values: {Hitch Step: step}}\n"
    )
    (tmp_path / "a.csv").write_text("sku,Sort,weight [lb]\nA,hitch  step,n/a\nB,tbd,—\nC,HITCH STEP,30\n")
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:_FEW], mapping=tmp_path / "map.yaml")
    assert found(tmp_path / "out", "bad_cells") == []
    (tmp_path / "blank.csv").write_text("sku,kind,weight [lb]\nA,step,\nB,,\nC,step,30\n")
    audit(tmp_path / "blank.csv", tmp_path / "blank", rigs()[:_FEW])
    assert pairs(tmp_path / "out") == pairs(tmp_path / "blank")


_COLUMNS = (
    *("kind", "weight [lb]", "capacity [lb]", "length", "front_setback", "rear_extent", "rise", "bikes_max"),
    *("bike_weight_max [lb]", "trailer_rating [lb]", "tongue_rating [lb]", "min_class", "pin_supplied", "shank"),
)
_MOUNT = ("ball_mount", "9", "", "9 in", "", "11 in", "-2 in", "", "", "5000", "500", "none", "yes", "2 in")
_BIKES = ("bike_carrier", "38", "120", "", "10 in", "30 in", "4 in", "2", "40", "", "", "III", "yes", "2 in")
_CELLS = {"empty": "", "word": "N/A", "odd": "oops"}


def test_audit_and_answer_agree_on_cells_that_tell_nothing(tmp_path: Path) -> None:
    """A word for what is not known is an empty cell in the audit, in what intake writes, and in answers about that.

    A cell that cannot be read is none: the audit is as strict as the answer or stricter, and neither takes it for yes.
    """
    told = dict[tuple[str, str], str]()
    rows = Rows()
    for item in (dict(zip(_COLUMNS, cells, strict=True)) for cells in (_MOUNT, _BIKES)):
        for title in (title for title, cell in item.items() if cell):
            rows += [
                {"sku": f"{item['kind']}.{title.split()[0]}.{sort}", **item, title: cell}
                for sort, cell in _CELLS.items()
            ]
    write_csv(tmp_path / "a.csv", rows)
    (tmp_path / "map.yaml").write_text("unknown: [N/A]\ncolumns: {}\n")
    asked = [rig for rig in rigs() if rig.key in ("rig_farm_muckle", "rig_quarry_oxter")]
    reader = answerer().reader
    audit(tmp_path / "a.csv", tmp_path / "out", asked, mapping=tmp_path / "map.yaml")
    judged = {(row["rig"], row["sku"]): (row["outcome"], row["rules"]) for row in pairs(tmp_path / "out")}
    assert {row["cell"] for row in found(tmp_path / "out", "bad_cells")} == {"oops"}
    write_cleaned(tmp_path / "a.csv", reader, read_mapping(tmp_path / "map.yaml", reader.vocabulary), tmp_path / "to")
    facts = reader.vocabulary.of("accessory")
    for row in rows_of_text(tmp_path / "to" / CATALOGUE):
        sku, _ = row.pop("sku"), row.pop("subject")
        item = {name: wire_fact(facts[name], read_cell(cell, facts[name])) for name, cell in row.items() if cell}
        for rig in asked:
            question = {"rig": {"id": rig.key}, "accessory": {"facts": item}}
            told[rig.key, sku] = answerer().answer(question, world()).outcome
    empty = {pair for pair in judged if pair[1].endswith(".empty")}
    assert len(empty) > 40
    for pair in empty:
        word, odd = ((pair[0], pair[1].replace(".empty", f".{sort}")) for sort in ("word", "odd"))
        assert judged[word] == judged[pair]
        assert told[word] == told[pair] == judged[word][0], pair
        if odd in told:
            assert OUTCOMES.index(judged[odd][0]) >= OUTCOMES.index(told[odd]), odd
        assert judged[odd][0] != "works"
    left_out = {tuple(sku.split(".")[1:]) for _, sku in judged.keys() - told.keys()}
    assert left_out == {(name, "odd") for name in ("min_class", "pin_supplied")}
    assert len({judged[pair][0] for pair in empty}) > 1


def _open_cells(fact: Fact) -> list[str]:
    """The ways to tell a fact and leave it open: by either end of what is plausible, and by each of its values.

    Intake writes the first in place of a figure that it could not read.
    """
    if isinstance(fact.type, ListType):
        return [" | ".join(fact.type.members)]
    return [f"at least {fact.range_text[0]}", f"at most {fact.range_text[1]}"] if fact.range_text else []


def _told_and_open() -> Rows:
    """Items of each judged subject, accessories of each kind, each fact in turn told and open."""
    with (SEED / "accessories.csv").open(encoding="utf-8", newline="") as stream:
        every = [{title: cell for title, cell in row.items() if cell} for row in csv.DictReader(stream)]
    titles = {_name(title): title for row in every for title in row}
    trailer: Any = yaml_of("trailers.yaml")["records"][2]
    every.append({"sku": trailer["sku"], "subject": "trailer", **trailer["facts"]})
    bases = {(row["subject"], row.get("kind")): row for row in every if row["subject"] in ("accessory", *JUDGED)}
    return [
        {**base, "sku": f"{subject} {kind} {fact.short} {cell}", title: cell}
        for (subject, kind), base in bases.items()
        for fact in answerer().reader.vocabulary.of(subject).values()
        for title in [fact.short if subject == "trailer" else titles.get(fact.short, fact.short)]
        for cell in _open_cells(fact)
    ]


def _name(title: str) -> str:
    return title.split(" [", maxsplit=1)[0]


def _wired(row: Mapping[str, str]) -> Document:
    """A row as a program tells it: each fact by its name, as the API takes it."""
    facts = answerer().reader.vocabulary.of(row["subject"])
    units = {title: title.removesuffix("]").partition(" [")[2] for title in row}
    told = {
        _name(title): wire_fact(facts[_name(title)], read_cell(cell, facts[_name(title)], units[title]))
        for title, cell in row.items()
        if _name(title) in facts
    }
    return {**told, "sku": row["sku"], "subject": row["subject"]}


def _single(rig: AuditRig, row: Mapping[str, str]) -> str:
    """What the question of one rig and one item comes to by itself."""
    one, subject, values = answerer(), row["subject"], dict[str, Value]()
    facts = one.reader.vocabulary.of(subject)
    for name, wire in _wired(row).items():
        values |= one.reader.value(facts[name], wire) if name in facts else {}
    values |= one.reader.told_by_one_end(values)
    if subject == "adapter":
        case = one.reader.stacked(rig.case, [values])
    else:
        present = rig.case.present | {subject} | one.reader.named(values)
        case = replace(rig.case, facts={**rig.case.facts, **values}, present=present)
    return one.engine.evaluate(one.engine.opened(case)).outcome


def test_what_is_told_and_open_is_told(tmp_path: Path) -> None:
    """Each fact of each judged subject, told so that all of it is open: an audit judges each pair as its question is.

    A fact that an item has and nobody knows is asked for, where one that it has not is none of a rule's business.
    """
    rows, asked = _told_and_open(), [rig for rig in rigs()[::14] if not rig.case.of_items]
    titles = list(dict.fromkeys(title for row in rows for title in row))
    write_csv(tmp_path / "a.csv", [{title: row.get(title, "") for title in titles} for row in rows])
    audit(tmp_path / "a.csv", tmp_path / "out", asked)
    assert found(tmp_path / "out", "bad_cells") == []
    of, keys = {row["sku"]: row for row in rows}, {rig.key: rig for rig in asked}
    judged = [*pairs(tmp_path / "out"), *found(tmp_path / "out", "others")]
    assert {of[row["sku"]]["subject"] for row in judged} == {"accessory", *JUDGED}
    assert len(judged) == len(rows) * len(asked)
    single = {(row["sku"], row["rig"]): _single(keys[row["rig"]], of[row["sku"]]) for row in judged}
    assert {pair: row["outcome"] for pair, row in zip(single, judged, strict=True)} == single
    less = [{title: cell for title, cell in row.items() if _name(title) != row["sku"].split(" ")[2]} for row in rows]
    unlike = {row["sku"].split(" ")[2] for row in less if _single(asked[0], row) != single[row["sku"], asked[0].key]}
    assert len(unlike) > _FEW, "next to no fact matters by being told"
    some = [row for row in rows if row["sku"].split(" ")[2] in unlike]
    (tmp_path / "b.jsonl").write_text("".join(json.dumps(_wired(row)) + "\n" for row in some))
    pq.write_table(
        pa.Table.from_pylist([{title: row.get(title) for title in titles} for row in some]), tmp_path / "c.parquet"
    )
    for name in ("b.jsonl", "c.parquet"):
        audit(tmp_path / name, tmp_path / f"{name}.out", asked)
        again = [*pairs(tmp_path / f"{name}.out"), *found(tmp_path / f"{name}.out", "others")]
        assert len(again) == len(some) * len(asked)
        for row in again:
            assert row["outcome"] == single[row["sku"], row["rig"]], (name, row)


@pytest.mark.parametrize(
    "cell", ["2 in and 1-1/4 in", "1-1/4 in; 2 in", "1-1/4 in / 2 in", "2 in, 2-1/2 in", "2 or 3 in"]
)
def test_several_sizes_in_a_cell_are_told_with_what_to_do(tmp_path: Path, cell: str) -> None:
    """What comes with a sleeve is two items; none of its sizes is taken, and a decimal comma is not two sizes."""
    (tmp_path / "a.csv").write_text(f'sku,kind,shank\nA,step,"{cell}"\nB,step,"2,5 in"\n')
    audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:_FEW])
    several, comma = found(tmp_path / "out", "bad_cells")
    assert (several["cell"], several["problem"]) == (
        cell,
        "the accessory's shank size is one size, and here are several",
    )
    assert "make each an item with a number of its own" in several["allowed"]
    assert "several" not in comma["problem"] + comma["allowed"]
    assert all(row["outcome"] not in ("works", "conditional") for row in pairs(tmp_path / "out"))


@pytest.mark.parametrize("text", ["unknown: N/A\ncolumns: {sku: sku}", "unknown: [{a: b}]\ncolumns: {Wt: weight}"])
def test_unknown_is_a_list_of_words(tmp_path: Path, text: str) -> None:
    """Anything else under `unknown` is refused at its line."""
    (tmp_path / "map.yaml").write_text(text)
    (tmp_path / "a.csv").write_text("sku,Wt\nA,30 lb\n")
    with pytest.raises(ProblemsFound) as told:
        audit(tmp_path / "a.csv", tmp_path / "out", rigs()[:_FEW], mapping=tmp_path / "map.yaml")
    assert [(one.message, one.line) for one in told.value.problems] == [("`unknown` is a list of words", 1)]
