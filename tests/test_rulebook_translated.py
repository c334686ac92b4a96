"""A folder's words in other languages: what is wrong with them is told, none ends an answer, and they are kept."""

from pathlib import Path

import pytest
from test_rulebook_loader import FILES

from fitsvc.answers.answering import Answerer
from fitsvc.cli import main
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import lay_out, texts_of
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import differences, digest_of
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import in_tongue, text_of
from fitsvc.rulebook.translated import words_at_fault, words_for_nothing, words_left_out
from fitsvc.service.publishing import tried
from fitsvc.service.reloading import FolderRules
from fitsvc.service.speaking import spoken_tongues
from fitsvc.store.database import Database
from fitsvc.store.publications import publish, published
from fitsvc.store.written import Write
from fitsvc.tongues import speaking

ENGLISH = "The shank is {accessory.shank}[, and the opening {receiver.opening}]."
WORDS = "words/es.yaml"
SPANISH = "El vástago es {accessory.shank}[, y la abertura {receiver.opening}]."
QUESTION = {
    "rig": {"receiver": {"facts": {"opening": "2 in"}}},
    "accessory": {"facts": {"kind": "step", "shank": "1-1/4 in", "weight": "20 lb"}},
}


def put(folder: Path, words: str = SPANISH, *, file: str = WORDS, more: str = "") -> Path:
    """A small folder of rules with words for one of its reasons, in the second line of their file."""
    coupling = FILES["coupling.yaml"].replace("The shank is {accessory.shank}.", ENGLISH)
    files = {**FILES, "coupling.yaml": coupling, file: f'texts:\n  "{ENGLISH}": "{words}"\n{more}'}
    lay_out(files, folder)
    return folder


def faults(folder: Path) -> list[Problem]:
    """What is wrong with the words of a folder."""
    return words_at_fault(load_rulebook(folder), folder)


def reason(folder: Path) -> str:
    """The reason in Spanish, as it is written, by all that a service would read of the folder."""
    told: Rulebook = in_tongue(load_rulebook(folder), spoken_tongues(folder)["es"])
    return text_of(told.rules[0].fails)


def test_words_that_can_be_told_are_told(tmp_path: Path) -> None:
    """In whatever order the values stand."""
    folder = put(tmp_path / "mine")
    assert not faults(folder) and not words_left_out(folder) and reason(folder) == SPANISH


@pytest.mark.parametrize(
    ("words", "where", "message", "help"),
    [
        (SPANISH.replace("shank", "shanc"), "accessory.shanc", "no value `{accessory.shanc}`", "`{accessory.shank}`?"),
        (SPANISH.replace("shank}", "mass}"), "accessory.mass", "no value `{accessory.mass}`", "`{accessory.shank}`"),
        (SPANISH + " {x", "{x", "`{` has no partner", "in `{braces}`"),
        ("", "", "here are no words", "leave the line out"),
    ],
)
def test_words_that_cannot_be_told_are_a_fault_and_give_way_to_english(
    tmp_path: Path, words: str, where: str, message: str, help: str
) -> None:
    """With file, line and column, where a folder is checked and published; whoever asks is answered all the same."""
    folder = put(tmp_path / "mine", words)
    (found,) = faults(folder)
    assert (found.file, found.line) == (f"mine/{WORDS}", 2)
    assert message in found.message and help in found.help
    line = (folder / WORDS).read_text("utf-8").splitlines()[1]
    assert found.column == line.rindex('": "') + len('": "') + words.find(where) + 1
    assert found in tried(folder)[1]
    assert reason(folder) == ENGLISH
    with speaking(spoken_tongues(folder)["es"]):
        answer = Answerer(load_rulebook(folder)).spoken.answer(QUESTION)
    assert [one.reason for one in answer.findings][:1] == ["The shank is 1-1/4 in, and the opening 2 in."]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (SPANISH.replace("]", ""), "`[` has no partner"),
        (SPANISH.replace("[, y", "[y] [, y"), "no value stands in `[brackets]`"),
        (SPANISH.replace("[", "").replace("]", ""), "`{receiver.opening}` may not be known"),
    ],
)
def test_brackets_of_words_are_held_to_those_of_their_text(tmp_path: Path, words: str, message: str) -> None:
    """A value that English tells only where it is known is not told as an unknown one elsewhere."""
    (found,) = faults(put(tmp_path / "mine", words))
    assert message in found.message and found.line == 2


def test_a_value_left_out_is_a_caution(tmp_path: Path) -> None:
    """It can be told, and lacks what the reason is of."""
    folder = put(tmp_path / "mine", "No cabe[, la abertura es {receiver.opening}].")
    assert not faults(folder)
    (found,) = words_left_out(folder)
    assert "leave out `{accessory.shank}`" in found.message and (found.file, found.line) == (f"mine/{WORDS}", 2)


def test_words_for_what_nothing_says_are_a_caution(tmp_path: Path) -> None:
    """A reason that was changed since, or misspelt there, is told in English, and nobody would see why."""
    old, gone = "The shank is {accessory.shank}[, and the opening is {receiver.opening}].", "Nobody says this any more."
    folder = put(tmp_path / "mine", more=f'  "{old}": "El vástago {{accessory.shank}}."\n  "{gone}": "Ya nadie."\n')
    changed, dropped = words_for_nothing(load_rulebook(folder), folder)
    assert "never told" in changed.message and f"`{ENGLISH}`" in changed.help
    assert (changed.file, changed.line, dropped.line) == (f"mine/{WORDS}", 3, 4)
    assert dropped.help.endswith("or take the line out")


def test_each_word_that_ships_is_for_something(rulebook: Rulebook) -> None:
    """The shipped rules' Spanish has no line that is never told."""
    assert not words_for_nothing(rulebook, data_dir("rules"))


@pytest.mark.parametrize("name", ["words/spanish.yaml", "words/es_MX.yaml", "words/en.yaml"])
def test_words_in_no_language_are_a_fault_and_are_passed_over(tmp_path: Path, name: str) -> None:
    """A file that is named by no language's code ends nothing, and nobody is answered by it."""
    folder = put(tmp_path / "mine", file=name)
    (found,) = faults(folder)
    assert "no language that words can be in" in found.message and found.file == f"mine/{name}"
    assert set(spoken_tongues(folder)) - {"en"} == set(spoken_tongues(None))


def test_words_that_meet_are_held_to_what_can_be_read(tmp_path: Path) -> None:
    """A pattern that is none, and a part that it has not, would end what is told in that language."""
    folder = put(tmp_path / "mine", more='joins:\n  "de (el": "del"\n  "de el": "\\\\1"\n')
    assert [one.line for one in faults(folder)] == [4, 5]
    assert spoken_tongues(folder)["es"].joined("de el") == "del"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("textos: {a: b}\n", "`textos` has no place here"),
        ("texts: {a: [b]}\n", "words for a text are a text"),
        ("texts: a\n", "`texts` is written as"),
        ("- a\n", "a file of words is written as"),
        ("texts: {a: b", "words/es.yaml"),
    ],
)
def test_a_file_that_is_none_of_words_is_no_rulebook(tmp_path: Path, text: str, message: str) -> None:
    """It is told as of any other file, before anybody is answered by the folder."""
    folder = put(tmp_path / "mine")
    (folder / WORDS).write_text(text, "utf-8")
    with pytest.raises(ProblemsFound, match=message) as caught:
        load_rulebook(folder)
    assert {one.file for one in caught.value.problems} == {f"mine/{WORDS}"}


def test_check_tells_what_is_wrong_with_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a fault what cannot be told, and as a caution what lacks a value."""
    folder = put(tmp_path / "mine", SPANISH.replace("shank", "shanc"))
    assert main(["rules", "check", str(folder)]) == 1
    told = capsys.readouterr().out
    assert f"mine/{WORDS}:2:" in told and "error: the English has no value `{accessory.shanc}`" in told
    put(folder, "No cabe.")
    main(["rules", "check", str(folder)])
    told = capsys.readouterr().out
    assert f"mine/{WORDS}:2:" in told and "these words leave out `{accessory.shank}`, `{receiver.opening}`" in told


def test_other_words_are_other_rules_to_publish(tmp_path: Path) -> None:
    """The digest is of what answers say in each language, whether or not it is read from what was kept before."""
    folder = put(tmp_path / "mine")
    first = cached_rulebook(folder).digest
    assert first == load_rulebook(folder).digest == digest_of(folder)
    (tmp_path / "below").mkdir()
    served = FolderRules(folder, tmp_path / "below")
    assert served.first().digest == first
    (folder / WORDS).write_text((folder / WORDS).read_text("utf-8") + "# a comment\n", "utf-8")
    assert cached_rulebook(folder).digest == first
    lay_out(texts_of(folder), tmp_path / "before")
    put(folder, SPANISH.replace("El vástago", "Su vástago"))
    then = cached_rulebook(folder).digest
    assert then == load_rulebook(folder).digest == digest_of(folder) != first
    (found,) = differences(tmp_path / "before", folder)
    assert found.where == WORDS and found.old and found.new and "Su vástago" in str(found.new)
    served.reread()
    assert served.in_force() == then
    kept = served.load(then)
    assert kept is not None and kept.rules is not None
    assert reason(kept.rules).startswith("Su vástago")


def test_what_is_published_keeps_its_words(
    tmp_path: Path, url: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It comes out as it went in, and those who answer by it speak by them."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    folder = tmp_path / "mine"
    put(folder)
    (folder / "signed.yaml").write_text("signed: []\n", "utf-8")
    digest, texts = cached_rulebook(folder).digest, texts_of(folder)
    assert WORDS in texts
    database = Database(url)
    with database.session() as session:
        publish(session, digest, "small", texts, Write(by="a test"))
        assert published(session, digest).files == texts
    database.close()
    assert main(["rules", "published", digest, "--to", str(tmp_path / "out")]) == 0
    capsys.readouterr()
    assert texts_of(tmp_path / "out") == texts and load_rulebook(tmp_path / "out").digest == digest
    assert reason(tmp_path / "out") == SPANISH


def test_an_overlay_exchanges_no_words_of_its_core(tmp_path: Path) -> None:
    """It has words for its own texts; what the core has words for is refused with both places."""
    own = "Take more care."
    core = put(tmp_path / "core")
    words = f'texts:\n  "{own}": "Más cuidado."\n'
    caution = f"cautions: [{{id: more, text: {own}, source: {{kind: common_practice}}}}]\n"
    files = {f"core/{name}": text for name, text in texts_of(core).items()}
    folder = tmp_path / "yard"
    lay_out({**files, "overlay.yaml": f"name: the yard\n{caution}", WORDS: words}, folder)
    before = load_rulebook(folder).digest
    assert not faults(folder) and spoken_tongues(folder)["es"].say(own) == "Más cuidado."
    assert f"core/{WORDS}" in texts_of(folder) and reason(folder) == SPANISH
    lay_out(texts_of(folder), tmp_path / "again")
    assert load_rulebook(tmp_path / "again").digest == before

    lay_out(
        {**files, "overlay.yaml": f"name: the yard\n{caution}", WORDS: words + f'  "{ENGLISH}": "Vale."\n'},
        tmp_path / "other",
    )
    (found,) = faults(tmp_path / "other")
    assert (found.file, found.line) == (f"other/{WORDS}", 3)
    assert "the core has words for this already, at core/words/es.yaml:2" in found.message
    assert reason(tmp_path / "other") == SPANISH and load_rulebook(tmp_path / "other").digest != before
