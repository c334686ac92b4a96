"""Record files into the store: whole files or every problem, in three formats, on both databases."""

import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from demo_world import answerer

from fitsvc.cli.load import details
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.load import in_order, load_file
from fitsvc.loading.storing import Loaded
from fitsvc.paths import data_dir
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance, list_observations
from fitsvc.store.records import add_observation, get_record, list_records
from fitsvc.store.rigs import get_rig, list_rigs

Write = Callable[[str, str | bytes], Path]

HEADER = "sku,subject,label,kind,shank,weight [lb],length\n"
RECEIVER = '{"subject": "receiver", "id": "rcv_a", "label": "Underfell A", "facts": {"opening": "2 in"}}\n'
VEHICLE = '{"subject": "vehicle", "id": "veh_a", "label": "Brannoch A", "facts": {"year": 2023}}\n'
MOUNTING = (
    '{"subject": "mounting", "id": "mnt_a", "vehicle": "veh_a", "receiver": "rcv_a", '
    '"facts": {"pin_to_bumper": {"value": "4 in", "tolerance": "1/4 in"}}}\n'
)
RIG = (
    '{"subject": "rig", "id": "rig_a", "name": "The A", '
    '"rig": {"vehicle": {"id": "veh_a"}, "receiver": {"id": "rcv_a"}}}\n'
)


@pytest.fixture(scope="session")
def reader() -> FactReader:
    """Give a reader of the facts that fitsvc's own rules know."""
    return answerer().reader


@pytest.fixture
def embedded(migrated: Path, tmp_path: Path) -> Iterator[Database]:
    """Give an embedded database, for what does not depend on the kind of database."""
    file = tmp_path / "embedded.db"
    shutil.copy(migrated, file)
    database = Database(f"sqlite:///{file}")
    yield database
    database.close()


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Give a way to write a file."""

    def write_file(name: str, content: str | bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write_file


@pytest.fixture
def problems(embedded: Database, reader: FactReader, write: Write) -> Callable[[str, str | bytes], list[Problem]]:
    """Give the problems of a file that cannot be loaded, once it is sure that nothing of it was stored."""

    def load(name: str, content: str | bytes) -> list[Problem]:
        with pytest.raises(ProblemsFound) as found:
            load_file(embedded, reader, write(name, content))
        assert stored(embedded) == []
        assert all(problem.file.endswith(name) for problem in found.value.problems)
        return list(found.value.problems)

    return load


Problems = Callable[[str, str | bytes], list[Problem]]


def stored(database: Database) -> list[str]:
    """The keys of everything that is stored."""
    with database.session() as session:
        subjects = ("vehicle", "receiver", "mounting", "accessory")
        keys = [record.key for subject in subjects for record in list_records(session, subject)]  # type: ignore[arg-type]  # a subject's name out of a list
        return keys + [rig.id for rig in list_rigs(session)]


def facts(database: Database, key: str) -> dict[str, object]:
    """The facts of an accessory."""
    with database.session() as session:
        return dict(get_record(session, "accessory", key).facts)


@pytest.mark.parametrize("cell", ["under 46", "entre 40 y 46", "between 40 and 46", "at most 46", "<46", "46 or more"])
def test_words_that_bound_a_figure_leave_it_the_unit_of_its_column(
    embedded: Database, reader: FactReader, write: Write, cell: str
) -> None:
    """What an audit reads of a column with a unit is loaded as well, and as the same bounds."""
    titled, written = "B,accessory,Titled,ball_mount,2 in,{}\n", "C,accessory,Written,ball_mount,2 in,{}\n"
    load_file(embedded, reader, write("titled.csv", HEADER.replace(",length", "") + titled.format(cell)))
    told = re.sub(r"46", "46 lb", cell)
    load_file(embedded, reader, write("written.csv", HEADER.replace(",length", "") + written.format(told)))
    fact = reader.vocabulary.facts["accessory.weight"]
    with embedded.session() as session:
        one, other = (get_record(session, "accessory", sku).facts["weight"] for sku in ("B", "C"))
    assert reader.value(fact, one) == reader.value(fact, other)


def test_csv_file_is_stored(database: Database, reader: FactReader, write: Write) -> None:
    """A CSV file's records are stored with their facts as a question would give them."""
    rows = 'A-1,accessory,"Carrier, small",bike_carrier,2 in,41,"38-1/2 in"\nA-2,adapter,Sleeve,reducer_sleeve,,,\n'
    loaded = load_file(database, reader, write("a.csv", HEADER + rows))
    assert loaded.stored == {"accessory": 1, "adapter": 1}
    assert facts(database, "A-1") == {"kind": "bike_carrier", "shank": "2 in", "weight": "41 lb", "length": "38-1/2 in"}
    with database.session() as session:
        assert get_record(session, "accessory", "A-1").label == "Carrier, small"
        assert list_records(session, "accessory", sold_as="adapter")[0].key == "A-2"


def test_json_lines_may_name_what_comes_later(database: Database, reader: FactReader, write: Write) -> None:
    """A mounting or rig may stand before the vehicle and receiver it names."""
    loaded = load_file(database, reader, write("a.jsonl", RIG + MOUNTING + VEHICLE + "\n" + RECEIVER))
    assert loaded.stored == {"vehicle": 1, "receiver": 1, "mounting": 1, "rig": 1}
    with database.session() as session:
        assert get_record(session, "mounting", "mnt_a").facts == json.loads(MOUNTING)["facts"]
        assert get_rig(session, "rig_a").name == "The A"


def test_yaml_counts_truths_and_unknowns_are_read(database: Database, reader: FactReader, write: Write) -> None:
    """YAML's texts become counts and yes or no, `null` is unknown, and a text of digits stays a text."""
    text = """subject: accessory
records:
  - sku: A-1
    label: 2023
    facts: {kind: bike_carrier, bikes_max: 3, tilts_clear: yes, weight: null}
"""
    load_file(database, reader, write("a.yaml", text))
    assert facts(database, "A-1") == {"kind": "bike_carrier", "bikes_max": 3, "tilts_clear": True}
    with database.session() as session:
        assert get_record(session, "accessory", "A-1").label == "2023"


def test_assumed_and_measured_facts_say_so(database: Database, reader: FactReader, write: Write) -> None:
    """Assumed and measured facts are observations of their own kind, with who measured and when."""
    text = """subject: receiver
records:
  - id: rcv_a
    facts: {opening: 2 in}
    assumed: {tongue_rating: 300 lb}
    measured: {facts: {pin_hole: 5/8 in}, by: Marnie, at: 2026-05-09, note: with a caliper}
"""
    load_file(database, reader, write("a.yaml", text))
    with database.session() as session:
        record = get_record(session, "receiver", "rcv_a")
        assert {name: how["kind"] for name, how in record.provenance.items()} == {
            "opening": "published",
            "tongue_rating": "assumed",
            "pin_hole": "measured",
        }
        measured = [one for one in list_observations(session, "receiver", "rcv_a") if one.kind == "measured"]
    assert [(one.by, one.at.isoformat(), one.note) for one in measured] == [
        ("Marnie", "2026-05-09T00:00:00+00:00", "with a caliper")
    ]


def test_a_record_stored_already_is_refused(database: Database, reader: FactReader, write: Write) -> None:
    """Without `replace`, a key that is stored is a problem of its row, and the file's other rows stay out."""
    load_file(database, reader, write("a.jsonl", RECEIVER))
    with pytest.raises(ProblemsFound) as found:
        load_file(database, reader, write("b.jsonl", VEHICLE + RECEIVER))
    assert [(p.line, p.pointer, p.message) for p in found.value.problems] == [(2, "id", "`rcv_a` is stored already")]
    assert "--replace" in found.value.problems[0].help
    assert stored(database) == ["rcv_a"]


def test_replace_makes_records_what_the_file_says(database: Database, reader: FactReader, write: Write) -> None:
    """With `replace`, facts that changed are told anew, those not named are taken back, the rest is left alone."""
    old = {"subject": "receiver", "id": "rcv_a", "facts": {"opening": "2 in", "pin_hole": "5/8 in"}}
    load_file(database, reader, write("a.jsonl", json.dumps(old) + "\n" + VEHICLE))
    new = {**old, "label": "New", "facts": {"opening": "2-1/2 in"}, "assumed": {"tongue_rating": "300 lb"}}
    loaded = load_file(database, reader, write("b.jsonl", json.dumps(new) + "\n" + VEHICLE), replace=True)
    assert (loaded.stored, loaded.replaced, loaded.unchanged) == ({}, 1, 1)
    with database.session() as session:
        record = get_record(session, "receiver", "rcv_a")
        assert (record.label, record.facts) == ("New", {"opening": "2-1/2 in", "tongue_rating": "300 lb"})
        assert record.provenance["tongue_rating"]["kind"] == "assumed"


def test_replacing_twice_changes_nothing(database: Database, reader: FactReader, write: Write) -> None:
    """Loading the same file again with `replace` leaves records, versions and observations as they are."""
    text = """subject: receiver
records:
  - id: rcv_a
    facts: {opening: 2 in, pin_hole: 1/2 in}
    assumed: {tongue_rating: 300 lb}
    measured: {facts: {pin_hole: 5/8 in}}
"""
    path = write("a.yaml", text)
    load_file(database, reader, path, replace=True)
    with database.session() as session:
        before = (get_record(session, "receiver", "rcv_a").version, len(list_observations(session)))
    loaded = load_file(database, reader, path, replace=True)
    with database.session() as session:
        assert (get_record(session, "receiver", "rcv_a").version, len(list_observations(session))) == before
    assert (loaded.replaced, loaded.unchanged) == (0, 1)


def test_what_stands_is_counted_whatever_the_record_is_called() -> None:
    """A comma in a SKU is no further fact."""
    told = list(details(Loaded(file="a.csv", standing=[("A,B", ["length", "width"])])))
    assert told[0].startswith("2 facts that were seen")
    assert told[1] == "A,B: length, width"


def test_f3_replace_leaves_what_the_shop_measured(database: Database, reader: FactReader, write: Write) -> None:
    """A feed owns what it said; what stands against it is told, and goes only where that is asked for."""
    path = write("a.jsonl", RECEIVER)
    load_file(database, reader, path)
    with database.session() as session:
        add_observation(session, "receiver", "rcv_a", {"opening": "1-1/4 in"}, Provenance(kind="measured"))
    loaded = load_file(database, reader, write("b.jsonl", RECEIVER.replace("2 in", "2-1/2 in")), replace=True)
    assert (loaded.replaced, loaded.standing) == (1, [("rcv_a", ["opening"])])
    with database.session() as session:
        assert get_record(session, "receiver", "rcv_a").facts == {"opening": "1-1/4 in"}
    assert load_file(database, reader, path, replace=True, also_seen=True).replaced == 1
    with database.session() as session:
        assert get_record(session, "receiver", "rcv_a").facts == {"opening": "2 in"}


def test_rigs_are_replaced_too(embedded: Database, reader: FactReader, write: Write) -> None:
    """A rig that is stored is refused, or replaced, or found unchanged."""
    load_file(embedded, reader, write("a.jsonl", VEHICLE + RECEIVER + MOUNTING + RIG))
    with pytest.raises(ProblemsFound, match="`rig_a` is stored already"):
        load_file(embedded, reader, write("b.jsonl", RIG))
    changed = load_file(embedded, reader, write("c.jsonl", RIG.replace("The A", "The B")), replace=True)
    again = load_file(embedded, reader, write("c.jsonl", RIG.replace("The A", "The B")), replace=True)
    assert (changed.replaced, again.replaced, again.unchanged) == (1, 0, 1)


def test_every_bad_row_of_a_csv_file_is_told(problems: Problems) -> None:
    """Each bad cell is told with its line and column title, and what would be right."""
    found = problems(
        "a.csv",
        HEADER + "A-1,accessory,,bike_carier,2 in,40,\n"
        "A-2,accessory,,bike_carrier,50 mm,40,\n"
        "A-3,accessory,,bike_carrier,2 in,40 in,12\n"
        "A-4,acessory,,bike_carrier,2 in,40,\n"
        ",accessory,,bike_carrier,2 in,40,\n"
        "A-6,accessory,,bike_carrier,2 in\n"
        "A-1,accessory,,bike_carrier,2 in,40,\n",
    )
    assert [(p.line, p.pointer) for p in found] == [
        (2, "kind"),
        (3, "shank"),
        (4, "weight [lb]"),
        (4, "length"),
        (5, "subject"),
        (6, "sku"),
        (7, ""),
    ]
    assert "did you mean `bike_carrier`?" in found[0].help
    assert "did you mean `2 in`" in found[1].help
    assert "is a length, expected a mass" in found[2].message
    assert found[3].message == "`12` has no unit"
    assert "did you mean `accessory`?" in found[4].help
    assert found[6].message == "the row has 5 cells, the header 7"


def test_a_key_twice_in_a_file_is_told_with_both_lines(problems: Problems) -> None:
    """A key that stands in the file twice is a problem of the second row; a ball and an adapter share one shelf."""
    found = problems("a.csv", "sku,subject\nA-1,ball\nA-2,ball\nA-1,adapter\n")
    assert [(p.line, p.pointer, p.message, p.help) for p in found] == [
        (4, "sku", "`A-1` stands in this file twice", "it is already in line 2")
    ]


@pytest.mark.parametrize(
    ("header", "message", "help"),
    [
        ("sku,subject,wieght", "column `wieght` is not known", "did you mean `weight`?"),
        ("sku,subject,weight [in]", "column `weight` cannot be in `in`", "such as"),
        ("sku,subject,weight [bushel]", "column `weight` cannot be in `bushel`", "write one of"),
        ("sku,subject,kind [in]", "column `kind` has no unit", "write `kind`"),
        ("sku,subject,bikes_max [kg]", "column `bikes_max` has no unit", "write `bikes_max`"),
        ("sku,subject,label [in]", "column `label` has no unit", "write `label`"),
        ("sku,subject,weight,weight [lb]", "column 4 is `weight` again, as column 3", "keep one"),
        ("sku,subject,weight,", "column 4 has no name", "give every column a name"),
        ("sku,weight,kind", "the header has no `subject`", "vehicle, receiver"),
        ("subject,weight,kind", "the header has neither `sku` nor `id`", "add the column"),
        ("sku,id,subject,kind", "the header has both `sku` and `id`", "keep one"),
    ],
)
def test_a_header_is_judged_by_itself(problems: Problems, header: str, message: str, help: str) -> None:
    """What is wrong with a header is told once, at its line, and not again for each row."""
    rows = "".join(f"A-{n},accessory{',' * (header.count(',') - 1)}\n" for n in range(3))
    found = problems("a.csv", f"{header}\n{rows if not header.startswith('sku,id') else ''}")
    assert found[0].message.startswith(message)
    assert help in found[0].help
    assert all(p.line == 1 for p in found)


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_other_marks_between_columns_are_read(problems: Problems, mark: str) -> None:
    """A file with semicolons, tabs or bars between its columns is read by them, and its faults told by column."""
    content = (HEADER + "A-1,accessory,,bike_carier,2 in,40,\n").replace(",", mark)
    assert [(p.line, p.pointer) for p in problems("a.csv", content)] == [(2, "kind")]


@pytest.mark.parametrize(
    ("cell", "wire"),
    [
        ("4 in ± 1/4 in", {"value": "4 in", "tolerance": "1/4 in"}),
        ("4 in +- 1/4 in", {"value": "4 in", "tolerance": "1/4 in"}),
        ("4 ± 1/4", {"value": "4 cm", "tolerance": "1/4 cm"}),
        ("at least 3 in", {"at_least": "3 in"}),
        ("At most 3", {"at_most": "3 cm"}),
        ('"at least 3 in, at most 4 in"', {"at_least": "3 in", "at_most": "4 in"}),
        ("at least 3 and at most 4", {"at_least": "3 cm", "at_most": "4 cm"}),
        ("12-1/2", "12-1/2 cm"),
        ("12 mm", "12 mm"),
        ("", None),
    ],
)
def test_a_cell_holds_bounds(embedded: Database, reader: FactReader, write: Write, cell: str, wire: object) -> None:
    """A cell may hold a value with its tolerance or bounds; the header's unit goes to bare numbers only."""
    load_file(embedded, reader, write("a.csv", f"sku,subject,length [cm]\nA-1,accessory,{cell}\n"))
    assert facts(embedded, "A-1").get("length") == wire


def test_a_cell_holds_candidates(embedded: Database, reader: FactReader, write: Write) -> None:
    """A cell may hold candidates; a text's `|` is its own, and truths may be in capitals as spreadsheets write them."""
    header = "id,subject,label,opening,weight_distribution_allowed\n"
    load_file(embedded, reader, write("a.csv", header + "rcv_a,receiver,A | B,2 in | 2-1/2 in,TRUE\n"))
    with embedded.session() as session:
        record = get_record(session, "receiver", "rcv_a")
        assert record.label == "A | B"
        assert record.facts == {"opening": ["2 in", "2-1/2 in"], "weight_distribution_allowed": True}


def test_problems_of_a_yaml_file_have_their_places(problems: Problems) -> None:
    """A fact, a key and a date that are wrong in YAML are told at their line and column."""
    found = problems(
        "a.yaml",
        """subject: receiver
records:
  - id: rcv_a
    facts: {opening: 2 in, tonge_rating: 300 lb}
    lable: A
  - id: rcv_b
    facts:
      tongue_rating: {at_least: 300 lb, at_most: 200 in}
    measured: {facts: {opening: 2 in}, at: yesterday}
  - label: C
""",
    )
    assert [(p.line, p.column, p.pointer) for p in found] == [
        (4, 28, "tonge_rating"),
        (5, 5, "lable"),
        (8, 41, "tongue_rating, at_most"),
        (9, 40, "measured, at"),
        (10, 5, "id"),
    ]
    assert "did you mean `tongue_rating`?" in found[0].help
    assert "did you mean `label`?" in found[1].help
    assert "200 in" in found[2].source


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("records: []\n", 1, "the file does not name its `subject`"),
        ("subject: receiver\n", 1, "the file has no records"),
        ("subject: receiver\nrecord: []\n", 2, "a file of records has no key `record`"),
        ("subject: receiver\nrecords: {}\n", 2, "`records` is a list"),
        ("subject: receiver\nrecords: [a]\n", 2, "a record is written as `key: value` lines"),
        ("subject: receivers\nrecords: [{id: rcv_a}]\n", 1, "`receivers` is not a subject"),
        ("subject: receiver\nrecords: [{subject: ball, id: rcv_a}]\n", 2, "the subject stands at the file's top"),
        ("subject: receiver\nrecords: [{id: rcv_a, id: rcv_b}]\n", 2, "the key `id` stands here a second time"),
        ("subject: receiver\nrecords: [{id: rcv_a, facts: 3}]\n", 2, "`facts` holds facts by their names"),
        ("subject: receiver\nrecords: [{id: rcv_a, measured: {}}]\n", 2, "`measured` names no facts"),
        (
            "subject: receiver\nrecords: [{id: rcv_a, facts: {opening: 2 in}, assumed: {opening: 2 in}}]\n",
            2,
            "`opening` is known as well as assumed",
        ),
        ("subject: receiver\nrecords: []\n", 0, "the file has no records"),
        ("- a\n", 1, "a file of records is written as `key: value` lines"),
        ("rigs: [{id: rig_a, name: A}]\n", 1, "the rig's own `rig` is missing"),
        ("rigs: [{id: rig_a, name: A, rig: {vehicle: {id: veh_no}}}]\n", 1, "no vehicle is stored under `veh_no`"),
        ("rigs: [{id: rig_a, name: A, rig: {receiver: {facts: {opening: 50 mm}}}}]\n", 1, "`50 mm` is not a size"),
        ("", 1, "a file of records is written as `key: value` lines"),
    ],
)
def test_a_yaml_file_of_the_wrong_shape(problems: Problems, text: str, line: int, message: str) -> None:
    """A YAML file that is not shaped as records are is told where and how."""
    found = problems("a.yaml", text)
    assert any((p.line, p.message.startswith(message)) == (line, True) for p in found), found


def test_bad_lines_of_json_are_told(problems: Problems) -> None:
    """Each line that is no record is told with its number, and the other lines are judged all the same."""
    found = problems(
        "a.jsonl",
        "[1]\n{\n" + '{"subject": "receiver", "id": "rcv_a", "id": "rcv_b"}\n'
        '{"subject": "receiver", "id": "rcv_a", "facts": {"opening": NaN}}\n'
        '{"subject": "receiver", "id": 7}\n'
        '{"subject": "receiver", "id": "veh_a"}\n'
        '{"subject": ["receiver"], "id": "veh_a"}\n'
        '{"subject": "mounting", "id": "mnt_a", "vehicle": "veh_no", "receiver": "rcv_no"}\n',
    )
    assert [p.line for p in found] == [1, 2, 3, 4, 5, 6, 7, 8, 8]
    for problem, words in zip(
        found,
        [
            "one object",
            "is not JSON",
            "`id`",
            "`NaN`",
            "`7` is not a text",
            "is not an id",
            "is not a subject",
            "there is no vehicle `veh_no`",
            "there is no receiver",
        ],
        strict=True,
    ):
        assert words in problem.message
    assert found[1].column == 2


def test_a_row_that_names_a_bad_row_is_not_blamed(problems: Problems) -> None:
    """A mounting whose vehicle is in the file but wrong has no problem of its own."""
    bad = VEHICLE.replace("2023", '"soon"')
    found = problems("a.jsonl", bad + RECEIVER + MOUNTING)
    assert [(p.line, p.pointer) for p in found] == [(1, "year")]


def test_a_store_problem_is_told_at_its_row(problems: Problems) -> None:
    """What only the store refuses (a text too long, half a character, two points) is told at its row."""
    long = json.dumps({"subject": "ball", "sku": "B-1", "label": "x" * 201})
    half = '{"subject": "ball", "sku": "B-2", "label": "\\ud800"}'
    points = '{"subject": "ball", "sku": ".."}'
    found = problems("a.jsonl", f'{{"subject": "ball", "sku": "B-0"}}\n{long}\n{half}\n{points}\n')
    assert [(p.line, p.pointer) for p in found] == [(2, "label"), (3, "label"), (4, "sku")]


@pytest.mark.parametrize(
    ("name", "content", "line", "words"),
    [
        ("nul.csv", HEADER.encode() + b"A-1,accessory,a\0b,,,,\n", 2, "NUL"),
        ("nul.jsonl", b'{"subject": "ball", "sku": "a\0"}\n', 1, "NUL"),
        ("latin.csv", HEADER.encode() + b"A-1,accessory,ok,,,,\nA-2,accessory,caf\xe9,,,,\n", 3, "0xe9 is not UTF-8"),
        ("wide.jsonl", RECEIVER.encode("utf-16-le"), 1, "NUL"),
        ("cut.csv", HEADER.encode() + "A-1,accessory,é".encode()[:-1], 2, "is not UTF-8"),
        ("long.csv", HEADER.encode() + b"A-1,accessory," + b"x" * 10_000_000, 2, "longer than 1,000,000 bytes"),
        ("long.jsonl", b'{"subject": "ball", "sku": "' + b"x" * 10_000_000 + b'"}', 1, "longer than 1,000,000 bytes"),
        ("cell.csv", HEADER.encode() + b'A-1,accessory,"' + b"x" * 200_000 + b'",,,,\n', 2, "field larger"),
        ("cells.csv", HEADER.encode() + b"A-1,accessory," + b'"x\n",' * 500_000 + b"\n", 2, "row is longer than"),
        ("quote.csv", HEADER.encode() + b'A-1,accessory,"a"b,,,,\n', 2, "is not CSV"),
        ("open.csv", HEADER.encode() + b'A-1,accessory,"a,,,,\n', 2, "is not CSV"),
        ("cr.csv", HEADER.encode().replace(b"\n", b"\r") + b"A-1,accessory,,,,,\r", 1, "is not CSV"),
        ("deep.jsonl", b"[" * 100_000 + b"]" * 100_000, 1, "nested"),
        ("deep.jsonl", b'{"subject": "ball", "facts": ' + b"[" * 60 + b"]" * 60 + b"}", 1, "nested"),
        ("digits.jsonl", b'{"subject": "ball", "facts": ' + b"9" * 5000 + b"}", 1, "is not JSON"),
        ("bomb.yaml", b"subject: ball\nrecords: &a [{sku: A}]\nrigs: [*a, *a]\n", 2, "anchor"),
        ("deep.yaml", b"subject: ball\nrecords: " + b"[" * 5000, 2, "nesting"),
        ("latin.yaml", b"subject: ball\nrecords: [{sku: caf\xe9}]\n", 2, "not UTF-8"),
        ("empty.csv", b"", 0, "the file is empty"),
        ("blank.csv", b"\n\n", 0, "the file is empty"),
        ("header.csv", HEADER.encode(), 0, "the file has no records"),
        ("empty.jsonl", b"\n", 0, "the file has no records"),
        ("a.json", RECEIVER.encode(), 0, "the format of `a.json` is not known"),
        ("a.xlsx", b"PK", 0, "the format of `a.xlsx` is not known"),
    ],
)
def test_a_hostile_file_costs_an_error(problems: Problems, name: str, content: bytes, line: int, words: str) -> None:
    """Whatever bytes a file holds, loading ends with a problem at the line, and nothing is stored."""
    found = problems(name, content)
    assert any(p.line == line and words in p.message for p in found), found


def test_mixed_encodings_are_told_line_by_line(problems: Problems) -> None:
    """Every line that is not UTF-8 is told, with the byte's column."""
    found = problems("a.csv", "sku,subject,label\nA-1,ball,é\n".encode() + b"A-2,ball,\xe9\nA-3,ball,\xff\n")
    assert [(p.line, p.column) for p in found] == [(3, 10), (4, 10)]


def test_lines_after_an_unreadable_one_keep_their_numbers(problems: Problems) -> None:
    """A bad cell is told in its own line, also behind lines that are not text, empty lines and cells over lines."""
    text = b'sku,subject,label\nA-1,ball,\xe9\nA-2,bal,\nA-3,ball,\xe9\n\nA-4,ball,"a\nb"\nA-5,bal,\n'
    assert [(p.line, p.column) for p in problems("a.csv", text)] == [(2, 10), (3, 0), (4, 10), (8, 0)]


def test_a_row_with_an_unreadable_line_inside_is_no_row(problems: Problems) -> None:
    """What stands around a line that is not text is not taken for the whole row."""
    text = b'sku,subject,label\nA-1,bal,"a\n\xe9\nb"\nA-2,bal,\n'
    assert [(p.line, p.column) for p in problems("a.csv", text)] == [(3, 1), (5, 0)]


def test_rows_that_an_unclosed_quote_joins_are_none(problems: Problems) -> None:
    """An item is not told what another's row says, and no row is gone without a word; a text over lines stays one."""
    rows = ['A-1,ball,"20 lb, one', "A-2,ball,50 lb", 'A-3,ball"', "A-4,bal,x"]
    (joined, other) = problems("a.csv", "sku,subject,label\n" + "\n".join(rows) + "\n")
    assert "goes on to line 4, and line 3 looks like a row of its own; the lines 2 to 4 are in no row" in joined.message
    assert (joined.line, other.line) == (2, 5) and '`"` may be missing' in joined.help
    text = 'A-1,ball,"great, and\nmore, so, it is\nwith, this"\nA-2,bal,x\n'
    assert [one.line for one in problems("b.csv", "sku,subject,label\n" + text)] == [5]


def test_a_byte_order_mark_is_allowed(embedded: Database, reader: FactReader, write: Write) -> None:
    """A spreadsheet's byte order mark and line ends do no harm, and a quoted cell may hold a line end's comma."""
    content = '\ufeffsku,subject,label\r\nA-1,ball,"a, b"\r\n\r\n'.encode()
    assert load_file(embedded, reader, write("a.csv", content)).stored == {"ball": 1}
    assert load_file(embedded, reader, write("b.jsonl", "\ufeff" + RECEIVER)).stored == {"receiver": 1}


def test_a_missing_file_and_a_folder_are_told(embedded: Database, reader: FactReader, tmp_path: Path) -> None:
    """A path that is no file is told as such."""
    for path, words in ((tmp_path / "no.csv", "no such file"), (tmp_path, "is not a file")):
        with pytest.raises(ProblemsFound, match=words):
            load_file(embedded, reader, path)


def test_files_are_ordered_by_what_they_name(reader: FactReader, write: Write) -> None:
    """Mountings come after vehicles and receivers, rigs last, whatever the files are called."""
    paths = [write("a.jsonl", RIG), write("b.jsonl", MOUNTING), write("c.jsonl", VEHICLE), write("d.csv", HEADER)]
    assert [path.name for path in in_order(paths, reader.vocabulary)] == ["c.jsonl", "d.csv", "b.jsonl", "a.jsonl"]


def test_many_chunks_are_all_judged(problems: Problems) -> None:
    """A problem in the last of many rows takes back all rows before it."""
    rows = "".join(f"A-{n},ball\n" for n in range(4_100))
    found = problems("a.csv", "sku,subject\n" + rows + "A-7,ball\n,ball\n")
    assert [p.line for p in found] == [4_102, 4_103]


def test_the_demo_loads(embedded: Database, reader: FactReader) -> None:
    """The demo's own files load in order, without a problem."""
    folder = data_dir("seed_demo")
    paths = [path for path in sorted(folder.iterdir()) if path.suffix in (".yaml", ".csv", ".jsonl")]
    total = sum(sum(load_file(embedded, reader, path).stored.values()) for path in in_order(paths, reader.vocabulary))
    assert total > 200
