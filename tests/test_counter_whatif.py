"""The page on which a rule is tried otherwise: faults as it is typed, its examples, what it brings, a draft of it."""

import re
import shutil
from html import unescape
from pathlib import Path

import pytest
from counter_browser import PHONE, Counter, context, sideways, violations
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Browser, Page, expect

from fitsvc.cli import main
from fitsvc.paths import data_dir
from fitsvc.rulebook.drafting import LONGEST
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.app import create_app
from fitsvc.service.context import service_in
from fitsvc.service.counter.whatif import BODY_BYTES
from fitsvc.service.settings import Settings
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
PATH = "/whatif/shank-fits-opening"
RULE = "shank-fits-opening"


def text_on(html: str) -> str:
    """What stands in the page's field, as a browser would send it."""
    found = re.search(r"<textarea[^>]*>\n(.*?)</textarea>", html, re.DOTALL)
    assert found is not None
    return unescape(found[1])


def told(html: str) -> str:
    """What the page tells, without its markup."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html.partition("<h1>")[2])))


@pytest.fixture
def rule(pages: Client) -> str:
    """Give the text of the rule."""
    return text_on(pages.get(PATH).text)


def test_a_rule_s_page_leads_to_it(pages: Client, rule: str) -> None:
    """With the text that its file has; a rating of a limit leads to its limit, and another name nowhere."""
    assert f'href="{PATH}"' in pages.get(f"/rules/{RULE}").text
    file = (data_dir("rules") / "coupling.yaml").read_text("utf-8")
    assert rule.splitlines()[3].strip() in file and rule.startswith(f"id: {RULE}\n")
    assert "id: tongue-weight" in pages.get("/whatif/tongue-weight/ball.rating").text
    gone = pages.get("/whatif/no-such-rule", headers={"accept": "text/html"})
    assert gone.status_code == 404 and pages.post("/whatif/no-such-rule", data={"text": "x"}).status_code == 404


def test_faults_are_told_with_line_column_and_key(pages: Client, rule: str) -> None:
    """In the loader's words; what was typed stays, and nothing of the store is looked at."""
    wrong = rule.replace("severity: blocking", "severity: bloking").replace("accessory.shank ==", "accessory.weight ==")
    for does in ("check", "try", "draft"):
        reply = pages.post(PATH, data={"text": wrong, "do": does, "name": "n", "because": "b"})
        assert reply.status_code == 422 and text_on(reply.text).strip() == wrong.strip()
        assert "Line 4, column 28 requires A mass cannot be compared with a length" in told(reply.text)
        assert "Line 5, column 11 severity bloking is not a severity. Did you mean blocking ?" in told(reply.text)
        assert "On what is stored" not in told(reply.text)


def test_what_is_pasted_from_a_file_is_read(pages: Client, rule: str) -> None:
    """With its hyphen and indented as it stands there, and with the ends of lines that browsers send."""
    pasted = "  - " + rule.rstrip().replace("\n", "\r\n    ")
    assert "Nothing is changed yet" in told(pages.post(PATH, data={"text": pasted, "do": "check"}).text)


def test_a_looser_rule_is_told_as_such_with_what_it_brings(pages: Client, rule: str) -> None:
    """In plain words, with the example it breaks, and cases of the store that open at the counter."""
    looser = rule.replace("severity: blocking", "severity: caution")
    reply = pages.post(PATH, data={"text": looser.replace("so: blocks", "so: caution"), "do": "try"})
    said = told(reply.text)
    assert reply.status_code == 200
    assert "It may let more pass than the rule does now: where it fails the answer is milder." in said
    assert "Nearer to yes" in said and re.search(
        r"38 of 38 saved rigs and receivers on vehicles, each with \d+ items", said
    )
    assert "Line 8" in said or "examples hold" in said or "Another result than now" in said
    links = re.findall(r'href="(/answer\?[^"]+)"', reply.text)
    assert links
    for link in links[:3]:
        opened = pages.get(unescape(link))
        assert opened.status_code == 200 and 'class="outcome' in opened.text
    check = pages.post(PATH, data={"text": rule.replace("== opening", "<= opening"), "do": "check"})
    assert "Broken: 1 of 9" in told(check.text) and "The rule would give passes" in told(check.text)
    assert "On what is stored" not in told(check.text)


def test_a_stricter_rule_is_told_to_be_none_looser(pages: Client, rule: str) -> None:
    """A condition more under `and`; and one that is not changed says so."""
    stricter = rule.replace("== opening.size", "== opening.size and accessory.weight <= 1 lb")
    said = told(pages.post(PATH, data={"text": stricter, "do": "try"}).text)
    assert "By its form it lets nothing more pass" in said and "Further from yes" in said
    assert "Nothing is changed yet" in told(pages.post(PATH, data={"text": rule, "do": "try"}).text)


def test_a_draft_is_a_file_that_a_folder_of_rules_takes(pages: Client, rule: str, tmp_path: Path) -> None:
    """It wants a name and a reason, is taken by `rules check`, and nothing that is answered changes by it."""
    before = pages.get("/v1/rulebooks").json()
    looser = {"text": rule.replace("severity: blocking", "severity: caution"), "do": "draft"}
    looser["text"] = re.sub("so: (blocks|open)", "so: caution", looser["text"])
    lacking = pages.post(PATH, data=looser)
    assert lacking.status_code == 422 and "A draft has a name" in told(lacking.text) and "Say why" in told(lacking.text)
    long = pages.post(PATH, data=looser | {"name": "n" * 81, "because": "b"})
    assert long.status_code == 422 and "longer than 80 characters" in told(long.text)
    file = pages.post(PATH, data=looser | {"name": 'shanks "tried"', "because": "we: tried #1"})
    assert file.status_code == 200 and file.headers["content-type"].startswith("application/yaml")
    assert file.headers["content-disposition"] == 'attachment; filename="overlay.yaml"'
    (tmp_path / "yard").mkdir()
    (tmp_path / "yard" / "overlay.yaml").write_bytes(file.content)
    assert main(["rules", "check", str(tmp_path / "yard")]) == 0
    assert main(["rules", "test", str(tmp_path / "yard")]) == 0
    assert load_rulebook(tmp_path / "yard").name == 'shanks "tried"'
    assert pages.get("/v1/rulebooks").json() == before
    cited = rule.replace("{kind: common_practice}", "{kind: published, cite: x, named: [nope]}")
    refused = pages.post(PATH, data={"text": cited, "do": "draft", "name": "n", "because": "b"})
    assert refused.status_code == 422 and "overlay.yaml" in told(refused.text) and "nope" in told(refused.text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\x00",
        "[" * 9_000,
        "a: &a [*a, *a]",
        "id: {" * 3_000,
        "x" * (LONGEST + 1),
        "- - -",
        "requires: " + "(" * 9_000,
    ],
)
def test_hostile_text_is_told_and_nothing_breaks(pages: Client, text: str) -> None:
    """A fault each, and no more."""
    reply = pages.post(PATH, data={"text": text, "do": "try"})
    assert reply.status_code == 422 and "To mend" in told(reply.text) and "Traceback" not in reply.text


def test_what_is_typed_is_shown_as_it_is(pages: Client) -> None:
    """Markup in the text, in a key and in a draft's name is text."""
    evil = "</textarea><script>alert(1)</script>"
    reply = pages.post(PATH, data={"text": f"id: {evil}", "do": "check", "name": evil, "because": f'"{evil}'})
    assert "<script>alert" not in reply.text and reply.status_code == 422
    assert pages.post(PATH, data={"text": "x" * (BODY_BYTES + 10)}).status_code == 413
    assert pages.post(PATH, content=b"\xff\xfe", headers={"content-type": "application/x-www-form-urlencoded"}).is_error


def test_one_is_tried_at_a_time(pages: Client, rule: str) -> None:
    """Who comes meanwhile is asked to come again, keeps what he typed, and holds up nobody."""
    trials = service_in(pages.app).rule_trials
    changed = {"text": rule.replace("== opening", "<= opening"), "do": "try"}
    with trials._foreseeing:
        reply = pages.post(PATH, data=changed)
        assert reply.status_code == 503 and reply.headers["retry-after"] == "2"
        assert "A change is tried by somebody else" in told(reply.text) and "<= opening" in text_on(reply.text)
        assert "The rule can be read" in told(reply.text)
        assert pages.post(PATH, data=changed | {"do": "check"}).status_code == 200
    assert pages.post(PATH, data=changed).status_code == 200


def test_where_not_all_is_open_it_takes_a_key_that_may_edit(client: Client, database: Database, tmp_path: Path) -> None:
    """On the loopback address it takes none, since nothing is changed; a key that may less is refused."""
    settings = Settings(public=frozenset({"ask", "read"}))
    with database.session() as session:
        edits, asks = (create_key(session, name, [name])[0] for name in ("edit", "ask"))
    with TestClient(create_app(database, answerer(), tmp_path / "a", settings=settings)) as shut:
        page = shut.get(PATH)
        assert page.status_code == 200 and 'name="key"' in page.text
        changed = {"text": text_on(page.text).replace("==", "<="), "do": "try"}
        assert shut.post(PATH, data=changed).status_code == 401
        assert shut.post(PATH, data=changed | {"key": asks}).status_code == 401
        reply = shut.post(PATH, data=changed | {"key": edits})
        assert reply.status_code == 200 and edits not in reply.text
        assert "There are no rigs, or no items" in told(reply.text)
    with TestClient(
        create_app(database, answerer(), tmp_path / "b", settings=Settings(public=frozenset({"ask"})))
    ) as shut:
        assert shut.get(PATH).status_code == 401
    assert 'name="key"' not in client.get(PATH).text


def test_rule_files_that_have_changed_are_told(pages: Client, tmp_path: Path, database: Database) -> None:
    """Nothing is tried against other rules than those that are answered by."""
    rules = tmp_path / "rules"
    shutil.copytree(data_dir("rules"), rules)
    with TestClient(create_app(database, answerer(), tmp_path / "audits", rules=rules)) as client:
        assert client.get(PATH).status_code == 200
        whole = client.get(PATH).text
        assert "whole file" in told(whole)
        draft = client.post(PATH, data={"text": text_on(whole).replace("==", "<="), "do": "draft", "name": "n"})
        assert draft.headers["content-disposition"] == 'attachment; filename="coupling.yaml"'
    file = rules / "coupling.yaml"
    file.write_text(file.read_text("utf-8").replace("== opening.size", "<= opening.size"), "utf-8")
    with TestClient(create_app(database, answerer(), tmp_path / "other", rules=rules)) as client:
        reply = client.get(PATH)
        assert reply.status_code == 409 and "The rule files have changed" in told(reply.text)


def test_in_a_browser_faults_come_as_it_is_typed(page: Page) -> None:
    """They lead to their place; what it brings is shown by the button, and told to be of an earlier text after."""
    page.goto(f"/rules/{RULE}")
    page.get_by_role("link", name="What if it were other?").click()
    field = page.get_by_role("textbox", name="The rule as its file has it")
    text = field.input_value()
    expect(page.get_by_role("button", name="Check it")).to_be_hidden()
    field.fill(text.replace("severity: blocking", "severity: bloking"))
    expect(page.locator(".faults li")).to_have_count(1)
    expect(field).to_have_attribute("aria-invalid", "true")
    assert violations(page) == []
    page.get_by_role("link", name="Line 5, column 11").click()
    assert field.evaluate("(one) => one.value.slice(one.selectionStart, one.selectionEnd)") == "bloking"
    page.keyboard.type("caution")
    expect(page.locator("#checked")).to_contain_text("It may let more pass than the rule does now")
    expect(page.locator("#brought")).to_be_empty()
    page.get_by_role("button", name="See what it brings").click()
    expect(page.locator("#impact")).to_be_visible()
    expect(page.locator(".shifts li").first).to_contain_text("No")
    assert violations(page) == []
    field.fill(text)
    expect(page.locator("#checked")).to_contain_text("Nothing is changed yet")
    expect(page.locator("[data-stale]")).to_be_visible()
    field.fill(text.replace("== opening.size", "== opening.size and known(accessory.pin)"))
    page.get_by_label("Its name").fill("stricter")
    page.get_by_label("Why").fill("tried")
    with page.expect_download() as coming:
        page.get_by_role("button", name="Save the draft").click()
    assert coming.value.suggested_filename == "overlay.yaml"


def test_without_scripts_it_is_checked_by_a_button(browser: Browser, counter: Counter) -> None:
    """And what it brings fits a phone."""
    with context(browser, counter, PHONE, java_script_enabled=False) as window:
        page = window.new_page()
        page.goto(PATH)
        field = page.get_by_role("textbox", name="The rule as its file has it")
        text = field.input_value()
        field.fill(text.replace("severity: blocking", "severity: bloking"))
        page.get_by_role("button", name="Check it").click()
        expect(page.locator(".faults li")).to_have_count(1)
        page.get_by_role("textbox", name="The rule as its file has it").fill(
            text.replace("== opening.size", ">= opening.size")
        )
        page.get_by_role("button", name="See what it brings").click()
        expect(page.locator("#impact")).to_be_visible()
    with context(browser, counter, PHONE) as window:
        page = window.new_page()
        page.goto(PATH)
        field = page.get_by_role("textbox", name="The rule as its file has it")
        field.fill(field.input_value().replace("severity: blocking", "severity: caution"))
        page.get_by_role("button", name="See what it brings").click()
        expect(page.locator("#impact")).to_be_visible()
        assert sideways(page) == [] and violations(page) == []
