"""Entries that hold from a day on, or until one: a rulebook is of one day, and knows no others."""

from datetime import date
from pathlib import Path

import pytest
from test_proving_planted import EMPTY, FILES, LADEN, SHANK, rule

from fitsvc.cli import main
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import Value
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.dating import frozen
from fitsvc.rulebook.folder import lay_out, texts_of
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.overlay import days_of
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.reloading import FolderRules

BEFORE, AFTER = date(2098, 12, 31), date(2099, 1, 1)
OLD = rule("short-enough", "accessory.length <= 60 in").replace("{id:", "{holds_until: 2098-12-31, id:")
NEW = rule("short-enough-by-the-new-law", "accessory.length <= 50 in").replace("{id:", "{holds_from: 2099-01-01, id:")
ROWS = """
tables:
  - id: law
    title: t
    key: bore
    columns:
      most: {gives: mass, otherwise: unknown, meaning: m}
    rows:
      2 in:
        - {most: 100 lb, asks: a, source: one, holds_until: 2098-12-31}
        - {most: 90 lb, asks: a, source: one, holds_from: 2099-01-01}
      3 in: {most: 70 lb, asks: a, source: one, holds_from: 2099-01-01}
    source: {kind: common_practice}
"""
SOURCES = "sources:\n  one: {cite: c, seen: memory, as_of: undated, says: s}\n"


def written(folder: Path, *rules: str, **files: str) -> Path:
    """Write a folder of a few rules."""
    texts = {**FILES, **files, "few.yaml": f"topic: few\nabout: a\nrules:\n{''.join(rules)}"}
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    return folder


def ids(book: Rulebook) -> list[str]:
    """The rules of a rulebook."""
    return [one.id for one in book.rules]


def refused(folder: Path) -> str:
    """What is wrong with a folder."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(folder)
    return str(found.value)


@pytest.fixture
def dated(tmp_path: Path) -> Path:
    """Give rules of which one takes the place of another in 2099."""
    return written(tmp_path / "mine", SHANK, EMPTY, LADEN, OLD, NEW)


def test_what_does_not_hold_is_not_there(dated: Path) -> None:
    """On the last day of the old one it holds, on the first of the new one that does; today is before."""
    assert ids(load_rulebook(dated))[-1] == "short-enough"
    assert ids(load_rulebook(dated, day=BEFORE))[-1] == "short-enough"
    assert ids(load_rulebook(dated, day=AFTER))[-1] == "short-enough-by-the-new-law"
    assert days_of(dated) == (AFTER,)


def test_a_rulebook_of_a_day_is_what_it_would_be_without_days(dated: Path, tmp_path: Path) -> None:
    """By the digest too, so that only what holds makes one rulebook another."""
    plain = written(tmp_path / "plain", SHANK, EMPTY, LADEN, rule("short-enough", "accessory.length <= 60 in"))
    later = written(
        tmp_path / "later", SHANK, EMPTY, LADEN, rule("short-enough-by-the-new-law", "accessory.length <= 50 in")
    )
    assert load_rulebook(dated).digest == load_rulebook(plain).digest
    assert load_rulebook(dated, day=AFTER).digest == load_rulebook(later).digest


def test_an_answer_is_by_the_day(dated: Path) -> None:
    """Fifty-five inches are short enough until 2098, and not from 2099 on."""
    facts: dict[str, Value] = {"accessory.length": (55 * 25.4, 55 * 25.4)}
    for day, result in ((BEFORE, "passes"), (AFTER, "fails")):
        engine = Point(load_rulebook(dated, day=day))
        case = Case(facts, frozenset({"accessory"}))
        assert engine.judge(len(engine.rulebook.rules) - 1, engine.opened(case)) == result


def test_rows_of_a_table_hold_by_day(tmp_path: Path) -> None:
    """One of several for a member, and none where none holds: anything is possible of it then, as of any without."""
    files = {"tables/law.yaml": ROWS, "sources.yaml": SOURCES}
    law = rule("lawful", "accessory.weight <= lookup(law.most, receiver.opening)")
    folder = written(tmp_path / "mine", SHANK, EMPTY, LADEN, law, **files)
    now, then = (load_rulebook(folder, day=day).tables["law"] for day in (BEFORE, AFTER))
    assert [*now.rows] == ["2 in"]
    assert [*then.rows] == ["2 in", "3 in"]
    assert now.columns["most"].values[0] != then.columns["most"].values[0]
    assert days_of(folder) == (AFTER,)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("holds_until: 2098-12-31", "holds_until: 2098-13-31", "`holds_until` is a day"),
        ("holds_until: 2098-12-31", "holds_until: soon", "write it as in `2027-01-01`"),
        ("holds_from: 2099-01-01", "holds_from: 2020-01-01, holds_until: 2019-01-01", "it would end before it begins"),
        ("id: short-enough-by-the-new-law", "id: short-enough", "there are two entries `short-enough`"),
    ],
)
def test_what_is_wrong_with_days_is_told(dated: Path, old: str, new: str, message: str) -> None:
    """At its place, with what to write."""
    path = dated / "few.yaml"
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new, 1))
    assert message in refused(dated)


def test_two_rows_of_one_day_are_refused(tmp_path: Path) -> None:
    """Nobody could say which of them the law is."""
    rows = ROWS.replace("holds_from: 2099-01-01}", "holds_from: 2000-01-01}", 1)
    law = rule("lawful", "accessory.weight <= lookup(law.most, receiver.opening)")
    folder = written(tmp_path / "m", SHANK, EMPTY, LADEN, law, **{"tables/law.yaml": rows, "sources.yaml": SOURCES})
    assert "two rows of `law.2 in` hold on " in refused(folder)


def test_the_day_is_the_folders_where_it_says_one(dated: Path) -> None:
    """`as_of` means nothing by itself: the digest is that of the day."""
    then = load_rulebook(dated, day=AFTER)
    top = dated / "rulebook.yaml"
    top.write_text(f"as_of: 2099-01-01\n{top.read_text()}")
    assert load_rulebook(dated).digest == cached_rulebook(dated).digest == then.digest
    assert days_of(dated) == ()


def test_what_is_taken_away_stays_as_it_is_on_its_day(dated: Path, tmp_path: Path) -> None:
    """Files that are published mean in 2099 what they meant when they were."""
    texts = frozen(texts_of(dated), BEFORE)
    lay_out(texts, tmp_path / "kept")
    assert texts["rulebook.yaml"].startswith("as_of: 2098-12-31\n")
    assert load_rulebook(tmp_path / "kept").digest == load_rulebook(dated).digest
    assert frozen(texts, AFTER) == texts
    plain = written(tmp_path / "plain", SHANK, EMPTY, LADEN)
    assert frozen(texts_of(plain), AFTER) == texts_of(plain)
    (below := tmp_path / "below").mkdir()
    served = FolderRules(dated, below).first()
    assert served.rules is not None and "as_of: " in (served.rules / "rulebook.yaml").read_text()


def test_rules_of_days_to_come_are_checked_and_tested_today(dated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not on the morning on which they begin to hold."""
    assert main(["rules", "check", str(dated)]) == 0
    assert "from 2099-01-01 on few: 4 rules" in capsys.readouterr().out
    path = dated / "few.yaml"
    path.write_text(path.read_text().replace("length <= 50 in", "lenght <= 50 in"))
    assert main(["rules", "check", str(dated)]) == 1
    assert "accessory.lenght" in capsys.readouterr().out + capsys.readouterr().err


def test_no_file_is_taken_away_without_one_that_is_passed_over(dated: Path) -> None:
    """Whoever publishes a folder with a `.yml` in it would else miss its rules without a word."""
    (dated / "more.yml").write_text("topic: more\n")
    with pytest.raises(ProblemsFound, match="this file is not read"):
        texts_of(dated)


def test_what_holds_no_more_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A rule and a row that ended, as by a slip of the year, each at its line; not one whose place another took."""
    gone = OLD.replace("2098-12-31", "2020-12-31")
    rows = ROWS.replace("2098-12-31", "2020-12-31").replace("2099-01-01", "2021-01-01", 1)
    rows = rows.replace("holds_from: 2099-01-01", "holds_until: 2020-06-30", 1)
    files = {"tables/law.yaml": rows, "sources.yaml": SOURCES}
    law = rule("lawful", "accessory.weight <= lookup(law.most, receiver.opening)")
    folder = written(tmp_path / "mine", SHANK, EMPTY, LADEN, law, gone, **files)
    assert main(["rules", "check", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "caution: `short-enough` ended on 2020-12-31: it holds no more" in said
    assert "caution: `law.3 in` ended on 2020-06-30" in said and "`law.2 in`" not in said
    for command in ("mutate", "coverage"):
        assert main(["rules", command, "short-enough", "--rules", str(folder)]) == 2
        assert "`short-enough` ended on 2020-12-31" in " ".join(capsys.readouterr().err.split())
    new = NEW.replace("2099-01-01", "2021-01-01")
    written(tmp_path / "mine", SHANK, EMPTY, LADEN, law, gone, new, **files)
    assert main(["rules", "check", str(folder)]) == 0
    assert "`short-enough` ended" not in capsys.readouterr().out


def test_what_holds_from_a_day_to_come_on_is_told_so_by_its_name(
    dated: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is no slip, and stands there: who names it is told from when on it holds."""
    assert main(["rules", "check", str(dated)]) == 0
    assert "caution" not in capsys.readouterr().out
    assert main(["rules", "mutate", "short-enough-by-the-new-law", "--rules", str(dated)]) == 2
    assert "holds from 2099-01-01 on, and not before" in " ".join(capsys.readouterr().err.split())
