"""Asking what a supplier's columns are: on a real terminal, each answer kept in the mapping when it is given."""

import os
import pty
import sys
from collections.abc import Iterator
from pathlib import Path
from subprocess import Popen

import pytest
from demo_world import answerer

from fitsvc.audits.asking import IntakeQuestions, with_column
from fitsvc.audits.intake import take_in
from fitsvc.audits.mapping import read_mapping
from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound

_LIST = (
    "Price list of spring\nArtikelnr.;Produktart;Gewicht;Lager;Breite\n"
    "TH-1;Kugelträger;4,3;12;x\nTH-2;Fahrradträger;23,5;3;y\nTH-3;Trittklotz;5,1;9;z\n"
)
_MORE = "\x04"
"""Answered where a test did not think of a question."""


@pytest.fixture
def supplier(tmp_path: Path) -> Path:
    """A folder with a list of which two units, two columns and a word are not known."""
    (tmp_path / "list.csv").write_text(_LIST, encoding="utf-8")
    return tmp_path


def _command(supplier: Path, *more: str) -> list[str]:
    return ["intake", str(supplier / "list.csv"), "--supplier", "thorn", "--into", str(supplier), *more]


def _on_a_terminal(command: list[str], answers: list[str]) -> tuple[str, int]:
    """What a command shows that is answered on a terminal of its own, and with what it ends."""
    ours, theirs = pty.openpty()
    process = Popen(
        [sys.executable, "-m", "fitsvc", *command], stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True
    )
    os.close(theirs)
    shown, waiting = b"", iter(answers)
    for some in _read(ours):
        shown += some
        if shown.endswith(b" > "):
            os.write(ours, next(waiting, _MORE).encode() + b"\n")
    os.close(ours)
    assert _MORE not in shown.decode(), f"more is asked than there are answers:\n{shown.decode()}"
    assert not list(waiting), "fewer questions were asked than there are answers"
    return shown.decode(), process.wait()


def _read(handle: int) -> Iterator[bytes]:
    """What comes from a terminal until it is closed, which Linux tells by an error."""
    try:
        while some := os.read(handle, 4096):
            yield some
    except OSError:
        return


def test_what_is_open_is_asked_on_a_terminal_and_kept(supplier: Path) -> None:
    """A unit alone, a slip of the pen, a column nobody wants, a word of a list; the next delivery is read by it."""
    answers = ["kg", "stock", "ignore", "widht", "y", "", "n", "", "setp", "step"]
    shown, ended = _on_a_terminal(_command(supplier), answers)
    assert ended == 0
    assert "did you mean `width`?" in shown
    assert "did you mean `step`?" in shown
    mapping = read_mapping(supplier / "thorn.yaml", answerer().reader.vocabulary)
    told = {title: (one.name, one.unit, one.decimal) for title, one in mapping.columns.items()}
    assert told["Gewicht"] == ("weight", "kg", ",")
    assert told["Lager"] == ("ignore", "", "")
    assert told["Breite"] == ("ignore", "", "")
    assert mapping.columns["Produktart"].values["trittklotz"] == "step"
    assert "#? is it `width`?" in (supplier / "thorn.yaml").read_text("utf-8")
    again, ended = _on_a_terminal(_command(supplier, "-o", str(supplier / "clean"), "--strict"), ["q"])
    assert "`Breite`: what is it?" in again, "what was left open is asked again, and nothing else"
    assert ended == 0
    rows = (supplier / "clean" / "catalogue.csv").read_text("utf-8").splitlines()
    assert rows[3].startswith("accessory,TH-3,step,")
    assert "5.1 kg" in rows[3]


def test_where_nobody_can_answer_it_says_so(supplier: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Without a terminal nothing is asked: it is told what is open and where it can be written; `--ask` is refused."""
    assert main(_command(supplier)) == 0
    shown = " ".join(capfd.readouterr().out.split())
    assert "3 columns and 1 word left open: give the command at a terminal to be asked, or write it there" in shown
    assert main(_command(supplier, "--ask")) == 2
    shown = capfd.readouterr().err
    assert "nobody can be asked: this is no terminal" in shown
    assert "thorn.yaml" in shown
    text = (supplier / "thorn.yaml").read_text("utf-8")
    shown, _ = _on_a_terminal(_command(supplier, "--no-ask"), [])
    assert "What is it?" not in shown
    assert (supplier / "thorn.yaml").read_text("utf-8") == text


def test_an_answer_that_does_not_read_is_not_taken_unasked(supplier: Path) -> None:
    """Where not every cell reads as what is answered, that is told first; leaving then keeps what was answered."""
    shown, ended = _on_a_terminal(_command(supplier), ["weight", "kg", "pin", "n", "q"])
    assert ended == 0
    assert "What was answered is kept; the rest stays open." in shown
    text = (supplier / "thorn.yaml").read_text("utf-8")
    assert '"Gewicht": {fact: weight, unit: "kg", decimal: "comma"}  # as answered: 100% of 3 cells' in text
    assert "fact: pin" not in text


def test_a_mapping_written_by_hand_is_added_to_or_left_alone(supplier: Path) -> None:
    """New columns go under the last of its own, comments stay; one that has no lines of columns stays as it was."""
    kept, reader = supplier / "thorn.yaml", answerer().reader
    kept.write_text("header: 2\ncolumns:\n  Artikelnr.: sku  # ours\nunknown: [x]\n", encoding="utf-8")
    taken = take_in(supplier / "list.csv", reader, supplier, "thorn")
    questions = IntakeQuestions(supplier / "list.csv", reader, kept, taken.columns)
    questions.keep(questions.told("Gewicht", "kg"))
    assert kept.read_text("utf-8").splitlines()[2:] == [
        "  Artikelnr.: sku  # ours",
        '  "Gewicht": {fact: weight, unit: "kg", decimal: "comma"}  # as answered: 100% of 3 cells',
        "unknown: [x]",
    ]
    flow = "header: 2\ncolumns: {Artikelnr.: sku}\n"
    kept.write_text(flow, encoding="utf-8")
    taken = take_in(supplier / "list.csv", reader, supplier, "thorn")
    questions = IntakeQuestions(supplier / "list.csv", reader, kept, taken.columns)
    with pytest.raises(ProblemsFound, match="by hand"):
        questions.keep_ignored("Lager")
    assert kept.read_text("utf-8") == flow


def test_one_fact_stands_in_one_column(supplier: Path) -> None:
    """What another column is already is refused, and so is a unit that the fact cannot have."""
    reader = answerer().reader
    taken = take_in(supplier / "list.csv", reader, supplier, "thorn")
    questions = IntakeQuestions(supplier / "list.csv", reader, supplier / "thorn.yaml", taken.columns)
    for said, told in (("sku", "is `sku` already"), ("weight [in]", "cannot be in"), ("", "is no fact")):
        with pytest.raises(ProblemsFound, match=told):
            questions.told("Lager", said)


def test_the_line_of_a_column_loses_what_was_asked_of_it() -> None:
    """The remarks of what does not read stand behind its own line, and go with it alone."""
    text = 'columns:\n  "A": ignore  #? is it\n    #? not read: x\n  "B": pin\n    #? not read: y\n'
    assert with_column(text, "A", "weight", "as answered") == (
        'columns:\n  "A": weight  # as answered\n  "B": pin\n    #? not read: y\n'
    )
