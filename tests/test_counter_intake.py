"""Taking in at the counter, without scripts: a file sent, its columns drafted, asked and kept, and the file audited."""

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import httpx
import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from pseudo import left_in_english, pseudo_tongue, told_on
from told_texts import told_texts

from fitsvc.audits.asking import IntakeQuestions
from fitsvc.audits.intake import take_in
from fitsvc.audits.mapping import read_mapping
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import labels_of, texts_of
from fitsvc.service.app import create_app
from fitsvc.service.speaking import spoken_tongues
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
_LIST = (
    "Price list of spring\nArtikelnr.;Produktart;Gewicht;Lager;Vierkant\n"
    "TH-1;Kugelträger;4,3;12;50 mm\nTH-2;Fahrradträger;23,5;3;32 mm\nTH-3;Trittklotz;5,1;9;8-May\n"
)


@pytest.fixture
def key(sqlite: Database) -> str:
    """A key that may do all."""
    with sqlite.session() as session:
        return create_key(session, "yard")[0]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where the service keeps its audits."""
    return tmp_path / "audits"


@pytest.fixture
def client(sqlite: Database, folder: Path) -> Iterator[Client]:
    """A client of a service that carries nothing out, as it was not started."""
    yield TestClient(create_app(sqlite, answerer(), folder, 1_000_000), raise_server_exceptions=False)


def send(client: Client, key: str, text: str = _LIST, name: str = "list.csv", **headers: str) -> httpx.Response:
    """Send a file as the page's form does."""
    fields = {"supplier": "Thorn", "key": key}
    return client.post("/intake", data=fields, files={"file": (name, text.encode())}, headers=headers)


def reply(client: Client, page: str, key: str, **answers: str) -> httpx.Response:
    """Answer what a page asks."""
    tag = re.search(r'name="tag" value="(\w+)"', page)
    assert tag is not None
    named = {name.replace("_", ".", 1): text for name, text in answers.items()}
    return client.post("/intake/thorn", data={"tag": tag[1], "key": key, **named}, follow_redirects=False)


def test_a_file_is_drafted_asked_about_kept_and_audited(client: Client, key: str, folder: Path, tmp_path: Path) -> None:
    """What is answered on the pages is the mapping that the command keeps for the same answers, to the byte."""
    page = send(client, key)
    assert page.status_code == 200
    shown = unescape(page.text)
    assert "titles in line 2" in shown and "67%</b> of its cells read; not <code>8-May</code>" in shown
    assert "is it <code>weight</code>? 0% of its cells read as that; in which unit?" in shown.casefold()
    (tmp_path / "list.csv").write_text(_LIST, encoding="utf-8")
    reader = answerer().reader
    questions = IntakeQuestions(
        tmp_path / "list.csv",
        reader,
        tmp_path / "thorn.yaml",
        take_in(tmp_path / "list.csv", reader, tmp_path, "thorn").columns,
    )
    (word,) = questions.words()
    questions.keep_word(word, "step")
    questions.keep(questions.told("Gewicht", "weight [kg]"))
    questions.keep_ignored("Lager")
    done = reply(client, page.text, key, word_0="step", fact_2="weight", unit_2="kg", fact_3="ignore", then="keep")
    assert done.status_code == 200 and "Nothing is asked." in done.text
    kept = (folder / "suppliers" / "thorn.yaml").read_text("utf-8")
    assert kept.partition("\n")[2] == (tmp_path / "thorn.yaml").read_text("utf-8").partition("\n")[2]
    sent_on = reply(client, done.text, key, then="audit")
    assert sent_on.status_code == 303
    told = client.get(f"/v1{sent_on.headers['location']}").json()
    assert (told["state"], told["name"], told["created_by"]) == ("queued", "thorn", "yard")
    assert {one["name"] for one in told["files"]} == {"catalogue", "mapping"}


def test_nothing_is_kept_without_a_key_or_a_file(client: Client, key: str, folder: Path) -> None:
    """Each at its field, with what was typed there still; an answer without a key changes nothing."""
    for refused, status in ((send(client, ""), 401), (send(client, "wrong"), 401)):
        assert refused.status_code == status and 'id="key-error"' in refused.text and 'value="Thorn"' in refused.text
    assert send(client, key, "").status_code == 422
    assert "ends in one of" in unescape(send(client, key, name="list.pdf").text)
    bad = client.post("/intake", data={"supplier": "../x", "key": key}, files={"file": ("list.csv", b"sku\nA\n")})
    assert bad.status_code == 422 and 'id="supplier-error"' in bad.text
    assert not folder.exists()
    assert client.get("/intake/thorn").status_code == 404
    page = send(client, key)
    before = (folder / "suppliers" / "thorn.yaml").read_bytes()
    refused = reply(client, page.text, "wrong", fact_3="ignore", then="audit")
    assert refused.status_code == 401 and 'id="key-error"' in refused.text
    assert (folder / "suppliers" / "thorn.yaml").read_bytes() == before


def test_what_few_cells_read_as_is_kept_only_once_it_is_confirmed(client: Client, key: str, folder: Path) -> None:
    """No fact, and a fact of which not every cell reads, are told; nothing of either is in the mapping."""
    page = send(client, key)
    first = reply(client, page.text, key, fact_3="wieght", fact_2="pin", then="audit")
    shown = unescape(first.text)
    assert first.status_code == 422
    assert "did you mean “weight”" in shown
    assert 'name="sure.2"' in shown and 'value="pin"' in shown and 'value="wieght"' in shown
    mapping = folder / "suppliers" / "thorn.yaml"
    assert "pin" not in mapping.read_text("utf-8") and not list(folder.glob("aud_*"))
    assert reply(client, first.text, key, fact_2="pin", sure_2="yes", then="keep").status_code == 200
    assert read_mapping(mapping, answerer().reader.vocabulary).columns["Gewicht"].name == "pin"


def test_a_page_that_is_older_than_the_mapping_changes_nothing(client: Client, key: str, folder: Path) -> None:
    """Two look at once: the second is told, and looks again."""
    page = send(client, key)
    assert reply(client, page.text, key, fact_3="ignore", then="keep").status_code == 200
    kept = (folder / "suppliers" / "thorn.yaml").read_bytes()
    late = reply(client, page.text, key, fact_2="weight", unit_2="kg", then="audit")
    assert late.status_code == 422 and "look again" in late.text
    assert (folder / "suppliers" / "thorn.yaml").read_bytes() == kept


def test_the_next_delivery_is_held_to_what_is_kept(client: Client, key: str, folder: Path) -> None:
    """Of the supplier's newest file alone, in whatever form it comes; what drifted is told."""
    page = send(client, key)
    reply(client, page.text, key, fact_2="weight", unit_2="kg", fact_3="ignore", then="keep")
    heavier = _LIST.replace("4,3", "9,5").replace("23,5", "51,8").replace("5,1", "11,2")
    shown = unescape(send(client, key, heavier, "new.txt").text)
    assert "its figures are 2.2 times what they were: pounds for kilograms?" in shown
    assert [path.name for path in (folder / "suppliers").glob("*.delivery.*")] == ["thorn.delivery.csv"]
    assert client.get("/intake/thorn").status_code == 200
    renamed = _LIST.replace("Lager", "Bestand")
    assert "<code>Bestand</code> is new, and not read" in unescape(send(client, key, renamed).text)


def test_in_another_language_the_file_is_read_alike_and_nothing_is_left_in_english(
    client: Client, key: str, folder: Path, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All texts of the pages, in a language with other letters; `1,250` is what it is in English."""
    labels = labels_of(rulebook)
    known = {*told_texts(), *texts_of(rulebook)} - labels
    monkeypatch.setitem(spoken_tongues(None), "qps", pseudo_tongue(known, labels))
    rows = 'Item No.,Wt,Sort,Tube,Shelf\nTH-1,"1,250",BM,2 in,a\nTH-2,heavy,BC,1-1/4 in,b\n'
    page = send(client, key, rows, **{"Accept-Language": "qps"})
    found = list(
        left_in_english(told_on(page.text), ["thorn", "Item No.", "Wt", "Sort", "Tube", "Shelf", "fitsvc", "Thorn"])
    )
    assert not found
    strange = (folder / "suppliers" / "thorn.yaml").read_text("utf-8")
    (folder / "suppliers" / "thorn.yaml").unlink()
    send(client, key, rows)
    plain = (folder / "suppliers" / "thorn.yaml").read_text("utf-8")
    assert [line.partition("#")[0] for line in strange.splitlines()] == [
        line.partition("#")[0] for line in plain.splitlines()
    ]


def test_a_title_breaks_out_of_nothing(client: Client, key: str) -> None:
    """Markup in a supplier's titles and cells is shown as it is."""
    page = send(client, key, "sku;<script>a()</script>;Sort\nA;<b>;<i>x</i>\n").text
    assert "<script>a()" not in page and "<i>x" not in page
