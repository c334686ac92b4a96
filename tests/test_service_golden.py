"""What every version answered is answered by this one: the same bytes, by the rules of then, laid out as they were."""

from pathlib import Path

import golden
import pytest

from fitsvc.answers.answering import Answerer
from fitsvc.rulebook.folder import lay_out
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.replaying import Replaying
from fitsvc.store.database import Database


def test_the_present_version_has_its_file() -> None:
    """With as many answers as it should have, of all outcomes, in both units."""
    _, answers = golden.read(golden.NOW)
    told = [bytes(one.answer) for one in answers]
    assert len(answers) >= golden.COUNT
    for outcome in (b"works", b"conditional", b"undetermined", b"fails"):
        assert sum(b'"outcome":"%s"' % outcome in one for one in told) > 5
    assert {one.query for one in answers} == {"", "units=metric"}


@pytest.mark.timeout(600)
@pytest.mark.parametrize("file", sorted(golden.FOLDER.glob("*.jsonl.xz")), ids=lambda path: path.name)
def test_what_was_answered_is_answered_again(file: Path, tmp_path: Path, sqlite: Database) -> None:
    """Byte by byte, each of them."""
    rules, answers = golden.read(file)
    lay_out(rules.texts, tmp_path / "rules")
    book = load_rulebook(tmp_path / "rules")
    assert book.digest == rules.rulebook
    replaying = Replaying(sqlite, Answerer(book), tmp_path / "below")
    others = [(one.question, found) for one in answers if (found := replaying.replay(one)).same != "same"]
    assert others == []


def test_another_rule_is_noticed(tmp_path: Path, sqlite: Database) -> None:
    """A figure that is other in the rules of then gives other answers, by which rule."""
    rules, answers = golden.read(golden.NOW)
    texts = {**rules.texts, "coupling.yaml": rules.texts["coupling.yaml"].replace("== opening.size", "!= opening.size")}
    lay_out(texts, tmp_path / "rules")
    replaying = Replaying(sqlite, Answerer(load_rulebook(tmp_path / "rules")), tmp_path / "below")
    found = [replaying.replay(one) for one in answers]
    assert {one.same for one in found} == {"same but for the digest", "differs"}
    assert any("shank-fits-opening: passes -> fails" in line for one in found for line in one.differences)
