"""The pages, answers and problems in other languages: which one is spoken, and that no text is forgotten in any."""

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from counter_browser import PAGES
from demo_world import ASKED, question, world, yaml_of
from litestar import Litestar
from litestar.testing import TestClient
from pseudo import PATTERNS, left_in_english, pseudo_tongue, told_on
from told_texts import told_texts

import fitsvc
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import labels_of, texts_of
from fitsvc.service.counter.audit_pages import STAGES
from fitsvc.service.counter.rendering import assets
from fitsvc.service.speaking import spoken_tongues, tongue_for, usual_system
from fitsvc.subjects import STORED

ENGLISH_ONLY = frozenset(
    (
        *("guide", "guide, tables", "guide, reference"),
        *("the API", "the API, an operation", "the API, a schema", "problems", "a problem"),
    )
)
"""Pages for whoever runs the service or writes a program; their texts stay in English."""
TYPED = ("zzz", "muckel", "some", "nothing.here", "heavy", "utm_source")
SAME = re.compile(r"[^A-Za-z]*(?:[A-Za-z]{1,2}\b[^A-Za-z]*)*")
"""A text of figures and units, which is the same in every language."""
TOLD = ("summary", "reason", "title", "because", "how", "works_if", "fails_if", "open_if", "told", "also", "margin")
"""The fields of an answer that are for people."""


def _names(rulebook: Rulebook) -> list[str]:
    """What is nobody's to translate: what the store's records say, citations, the rulebook's name and digest."""
    found = {rulebook.name, rulebook.digest, "fitsvc", "http://testserver.local", *TYPED}
    for table in rulebook.tables.values():
        found |= {table.source.cite, *(row.source.cite for row in table.rows.values())}
    found |= {one.source.cite for one in rulebook.rules} | {one.source.cite for one in rulebook.needs}
    for subject in STORED:
        for one in world().of(subject):
            texts = (one.facts.get(name) for name in ("make", "model", "trim", "note"))
            found |= {one.key, one.label, *(str(text) for text in texts if text)}
    for file in ASKED:
        found |= {str(one["name"]) for one in question(file).get("together") or () if one.get("name")}
    for rig in yaml_of("rigs.yaml")["rigs"]:
        found |= {rig["id"], rig["name"]}
    return sorted(found - {"", None}, key=len, reverse=True)


@pytest.fixture
def marked(rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch) -> None:
    """A language beside the others that has other letters for every known text, and for nothing else."""
    labels = labels_of(rulebook)
    known = {*told_texts(), *texts_of(rulebook)} - labels
    monkeypatch.setitem(spoken_tongues(None), "qps", pseudo_tongue(known, labels))


@pytest.mark.usefixtures("marked")
def test_no_text_of_a_page_is_left_in_english(pages: TestClient[Litestar], rulebook: Rulebook) -> None:
    """Every page in a language that has other letters for every known text: a word of plain letters was forgotten."""
    names, found = _names(rulebook), []
    for name, path in PAGES.items():
        if name not in ENGLISH_ONLY and "hostile" not in path:
            html = pages.get(path, headers={"accept-language": "qps", "accept": "text/html"}).text
            found += [f"{name}: {one}" for one in left_in_english(told_on(html), names)]
    assert not found, "\n".join(found)


def _told(value: object, name: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield from _told(one, "told" if name in ("facts", "needs") and key != "need" else key)
    elif isinstance(value, list):
        for one in value:
            yield from _told(one, "told" if name in ("cautions", "assumed") and isinstance(one, str) else name)
    elif isinstance(value, str) and name in TOLD:
        yield value


@pytest.mark.usefixtures("marked")
def test_no_text_of_an_answer_is_left_in_english(pages: TestClient[Litestar], rulebook: Rulebook) -> None:
    """The same of what the API answers to the questions of the demo."""
    names, found = _names(rulebook), []
    for file in ASKED:
        answer = pages.post("/v1/answers", json=question(file), headers={"accept-language": "qps"})
        assert answer.status_code == 200 and answer.headers["content-language"] == "es"
        found += [f"{file}: {one}" for one in left_in_english(list(_told(answer.json())), names)]
    assert not found, "\n".join(found)


def _named_in_part() -> Iterator[dict[str, object]]:
    """Questions about a vehicle of which only make and model are told, that may be several, with each receiver."""
    named = Counter((str(one.facts["make"]), str(one.facts["model"])) for one in world().of("vehicle"))
    carriers = ("LLH-TRAY-48", "PKM-MOTO-2")
    for place, (make, model) in enumerate(sorted(one for one, count in named.items() if count > 1)):
        for receiver in world().of("receiver"):
            rig = {"vehicle": {"facts": {"make": make, "model": model}}, "receiver": {"id": receiver.key}}
            yield {"rig": rig, "accessory": {"sku": carriers[place % len(carriers)]}}


@pytest.mark.usefixtures("marked")
def test_no_text_over_several_vehicles_is_left_in_english(pages: TestClient[Litestar], rulebook: Rulebook) -> None:
    """What holds over all that a vehicle may be, and what each of them comes to: of one and of several."""
    names, found, differing = _names(rulebook), [], 0
    for asked in _named_in_part():
        answer = pages.post("/v1/answers", json=asked, headers={"accept-language": "qps"})
        assert answer.status_code == 200, answer.text
        differing += len({one["outcome"] for one in answer.json().get("candidates", ())}) > 1
        found += [f"{asked}: {one}" for one in left_in_english(list(_told(answer.json())), names)]
    assert differing > 5
    assert not found, "\n".join(found[:5])


def test_one_of_several_vehicles_is_told_as_one(pages: TestClient[Litestar]) -> None:
    """`1 is open`, and in Spanish no word of English."""
    rig = {
        "vehicle": {"facts": {"make": "Velmora", "model": "Saltmarsh"}},
        "receiver": {"id": "rcv_pell_wicket_3"},
    }
    load = {"facts": {"cargo_weight": "100 kg"}}
    asked = {"rig": rig, "accessory": {"sku": "LLH-TRAY-48"}, "load": load}
    said = [
        pages.post("/v1/answers", json=asked, headers={"accept-language": code}).json()["summary"]
        for code in ("en", "es")
    ]
    assert said[0].endswith("Of the 2 configurations that are stored, 1 would do on conditions and 1 is open.")
    assert said[1].endswith(
        "De las 2 configuraciones guardadas, con 1 serviría con condiciones y con 1 queda por saber."
    )


@pytest.mark.parametrize("code", sorted(one for one in spoken_tongues(None) if "-" not in one))
def test_a_language_has_words_for_every_text_and_for_no_other(code: str, rulebook: Rulebook) -> None:
    """So a text that is changed in English is not told by words that were made for another."""
    one, rules = spoken_tongues(None)[code], texts_of(rulebook)
    known = {*told_texts(), *rules}
    lacking = sorted(text for text in known - one.texts.keys() if not SAME.fullmatch(text))
    assert not lacking, f"{len(lacking)} texts have no words: {lacking[:20]}"
    stale = sorted(one.texts.keys() - known)
    assert not stale, f"{len(stale)} words are for no text: {stale[:20]}"


@pytest.mark.parametrize("place", ["ontario", "european_union", "texas", "new_york"])
def test_what_is_said_about_a_law_is_in_the_language(
    pages: TestClient[Litestar], rulebook: Rulebook, place: str
) -> None:
    """The name of a law stays; the page that tells of it, or what else of it is told, is in the reader's own words."""
    trailer = {"gross_weight": "5000 lb", "brakes": "none"}
    document = {"trailer": {"facts": trailer}, "load": {"facts": {"jurisdiction": place}}}
    told = {
        code: " ".join(
            one["reason"]
            for one in pages.post("/v1/answers", json=document, headers={"Accept-Language": code}).json()["findings"]
        )
        for code in ("en", "es")
    }
    cite = rulebook.tables["brake_law"].rows[place].source.cite
    assert f"({cite})" in told["en"]
    assert spoken_tongues(None)["es"].say(cite) != cite not in told["es"]
    assert f"({spoken_tongues(None)['es'].say(cite)})" in told["es"]


@pytest.mark.parametrize("code", sorted(one for one in spoken_tongues(None) if "-" not in one))
def test_words_have_the_values_of_their_text(code: str) -> None:
    """The same values in braces, whatever their order, and as many brackets."""
    for text, words in spoken_tongues(None)[code].texts.items():
        if text not in PATTERNS:
            assert {*re.findall(r"\{[^{}]*\}", text)} == {*re.findall(r"\{[^{}]*\}", words)}, text
            assert text.count("`") == words.count("`"), text


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("", "en"),
        ("en-US,en;q=0.9", "en"),
        ("es", "es"),
        ("es-ES", "es"),
        ("es-MX,es;q=0.9,en;q=0.8", "es-419"),
        ("es-US", "es-419"),
        ("de-DE,de;q=0.9,es;q=0.5,en;q=0.4", "es"),
        ("en;q=0.1, es-PR", "es-419"),
        ("es;q=0, en", "en"),
        ("fr, *;q=0.5", "en"),
        ("es;q=nonsense", "en"),
    ],
)
def test_the_language_is_the_most_wanted_of_those_there_are(header: str, code: str) -> None:
    """RFC 9110, 12.5.4; the decimal mark is the locale's by CLDR: a point in Mexico and the US, a comma in Spain."""
    one = tongue_for(header, spoken_tongues(None))
    assert one.code == code and one.decimal == ("," if code == "es" else ".")


def test_a_person_chooses_the_language(pages: TestClient[Litestar]) -> None:
    """By a link on every page, without scripts: it leads back to that page of ours, and a cookie keeps the choice."""
    base, english = str(pages.base_url), {"Accept-Language": "en-US"}

    def choose(code: str, before: str) -> tuple[int, str]:
        gone = pages.get(f"/speak/{code}", headers={"Referer": before}, follow_redirects=False)
        return gone.status_code, gone.headers.get("location", "")

    assert 'href="/speak/es"' in pages.get("/rules", headers=english).text
    try:
        assert choose("es", f"{base}/facts?text=pin") == (303, "/facts?text=pin")
        page = pages.get("/", headers=english)
        assert page.headers["content-language"] == "es-419" and "Cookie" in page.headers["vary"]
        assert '<html lang="es-419">' in page.text and '<html lang="en">' in pages.get("/guide").text
        assert "content-language" not in pages.get("/v1/vehicles", headers=english).headers
        for elsewhere in ("https://example.org/facts", f"{base}//example.org", "nonsense"):
            assert choose("en", elsewhere) == (303, "/")
        assert "content-language" not in pages.get("/", headers={"Accept-Language": "es"}).headers
        assert choose("xx", base)[0] == 404
    finally:
        pages.cookies.clear()


@pytest.mark.parametrize(
    ("header", "system"),
    [
        ("", "us"),
        ("en-US,en", "us"),
        ("es", "us"),
        ("es-419", "us"),
        ("en-LR", "us"),
        ("en-AU", "metric"),
        ("es-MX", "metric"),
    ],
)
def test_the_units_are_those_of_the_region(header: str, system: str) -> None:
    """CLDR, measurementData: inches and pounds in three countries; they hold for a page that asks nothing yet."""
    assert usual_system(header) == system


@pytest.mark.parametrize("name", sorted(name for name in assets() if name.endswith(".js")))
def test_no_script_has_words_of_its_own(name: str) -> None:
    """What a script shows or says stands in the page's own language on the page: no letters but of what it is given."""
    said = re.compile(r'(?:textContent\s*\??=|setAttribute\("aria-label",|\bsay\(|pressed\("[^"]*",)\s*(["`])(.*?)\1')
    for _, text in said.findall(assets()[name].decode()):
        assert not re.search(r"[A-Za-z]", re.sub(r"\$\{[^}]*\}", "", text)), text


def test_every_stage_of_an_audit_is_told_in_words() -> None:
    """The page of an audit that runs has words for each stage that an audit tells it is at."""
    rooms = (Path(fitsvc.__file__).parent / room for room in ("audits", "service/audits"))
    code = "".join(path.read_text("utf-8") for room in rooms for path in room.rglob("*.py"))
    assert set(re.findall(r'tell\("([a-z ]+)"', code)) == set(STAGES)
