"""The register of sources: what is published cites it, each source is cited, and says how and when it was seen."""

from datetime import date
from pathlib import Path

import pytest
from test_rulebook_loader import ACT, changed, problems, write

from fitsvc.cli import main
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Cited
from fitsvc.rulebook.sources import YEARS_UNTIL_STALE, is_stale

CITES = changed("{kind: common_practice}", "{kind: published, named: [act-1], cite: Act 1}")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("act-1: ", "act-2: ", "there is no source `act-1` in sources.yaml"),
        ("cite: Act 1, ", "", "source `act-1` lacks `cite`"),
        ("seen: text", "seen: hearsay", "`hearsay` is not how a source is seen"),
        (", read: 2026-11", "", "source `act-1` does not say when it was read"),
        ("read: 2026-11", "read: 2026-13", "`2026-13` is not a date"),
        ("read: 2026-11", "read: last year", "`last year` is not a date"),
        (", words: no more than 5 lb", "", "source `act-1` has its own `words`, or says in ours what they come to"),
        ("words: no", "says: no more, words: no", "source `act-1` has its own `words`, or says in ours"),
        ("seen: text", "seen: memory", "source `act-1` is from memory, and has words or a date of reading"),
        (
            "sources:\n",
            "sources:\n  act-0: {cite: Act 0, seen: memory, as_of: x, says: y}\n",
            "nothing cites source `act-0`",
        ),
    ],
)
def test_a_fault_in_the_register_is_told(tmp_path: Path, old: str, new: str, message: str) -> None:
    """Each at its place in the register, or where a source is cited that is not in it."""
    assert old in ACT
    found = problems(tmp_path, {**CITES, "sources.yaml": ACT.replace(old, new)})
    assert any(one.message.startswith(message) for one in found), found


def test_the_shipped_sources_have_words() -> None:
    """Of what was seen as a text two thirds have its own words, and what is from memory says so where it is cited."""
    book = load_rulebook(data_dir("rules"))
    seen = [one for one in book.sources.values() if one.seen == "text"]
    assert len(seen) >= 60 and sum(bool(one.words) for one in seen) >= len(seen) * 9 / 10
    from_memory = {name for name, one in book.sources.items() if one.seen == "memory"}
    cited = [(one.id, one.source) for one in book.rules] + [(one.id, one.source) for one in book.tables.values()]
    cited += [(one.id, one.source) for one in book.needs] + [(one.id, one.source) for one in book.cautions]
    unread = [(id, source) for id, source in cited if source.named and from_memory.issuperset(source.named)]
    assert [id for id, source in unread if "from memory" not in source.cite] == []


@pytest.mark.parametrize(
    ("read", "today", "stale"),
    [
        ("2026-11-28", date(2029, 11, 27), False),
        ("2026-11-28", date(2029, 11, 28), True),
        ("2026-11", date(2029, 10, 31), False),
        ("2026-11", date(2029, 11, 1), True),
        ("2027-01", date(2026, 12, 31), True),
        ("", date(2100, 1, 1), False),
    ],
)
def test_a_source_grows_stale(read: str, today: date, stale: bool) -> None:
    """Three years after it was read, to the day; one read tomorrow is no better; what nobody read does not age."""
    assert YEARS_UNTIL_STALE == 3
    assert is_stale(Cited(cite="c", seen="text", as_of="x", read=read, says="y"), today) is stale


def test_the_command_tells_what_rests_on_a_source(capsys: pytest.CaptureFixture[str]) -> None:
    """By its name, and by a place whose row cites it: its words, how it was seen, and the rules that rest on it."""
    assert main(["rules", "sources", "nh-266-30"]) == 0
    told = capsys.readouterr().out
    assert "rated axle weights of the towing vehicle" in " ".join(told.split())
    assert "brake_law.new_hampshire" in told and "brakes-where-driven" in told
    assert main(["rules", "sources", "new", "hampshire"]) == 0
    told = capsys.readouterr().out
    assert "RSA 266:30" in told and "RSA 266:63" in told
    assert main(["rules", "sources", "nh-266-x30"]) != 0
    assert "did you mean `nh-266-30`?" in capsys.readouterr().err


def test_checking_names_a_stale_source(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The check names it and what to read again; the rules still hold."""
    folder = write(tmp_path, {**CITES, "sources.yaml": ACT.replace("2026-11", "2019-05")})
    assert main(["rules", "check", str(folder)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "act-1" in told and "read `Act 1` again" in told
