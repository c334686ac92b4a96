"""/v1/audits: a catalogue sent, judged by a process of its own, and what was found."""

import csv
import io
import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pyarrow.parquet as pq
import pytest
from audit_world import DAY, audit, undated
from audit_world import found as findings
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from openapi_schema_validator import OAS31Validator
from service_checks import pointers, problem
from waiting import until
from workbooks import write_xlsx

from fitsvc.audits.fits import write_fits
from fitsvc.audits.results import TABLES
from fitsvc.audits.rigs import read_rigs
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.app import create_app
from fitsvc.service.audits import worker as audits_worker
from fitsvc.service.audits.folder import AuditFolder, Audits
from fitsvc.service.audits.running import COUNTER_VARIABLE, Running
from fitsvc.service.context import service_in
from fitsvc.service.speaking import spoken_tongues, with_point
from fitsvc.store import database as store
from fitsvc.synthetic.planted import CATALOGUE, RIGS, write_planted

Client = TestClient[Litestar]
CSV, LINES = {"Content-Type": "text/csv"}, {"Content-Type": "application/x-ndjson"}
PARQUET, YAML = {"Content-Type": "application/vnd.apache.parquet"}, {"Content-Type": "application/yaml"}
TSV = {"Content-Type": "text/tab-separated-values"}
XLSX = {"Content-Type": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
_ITEMS = 500


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a small catalogue with planted faults, and audit it by the command's own means."""
    folder = tmp_path_factory.mktemp("made")
    write_planted(folder, answerer().rulebook, _ITEMS, lambda *_: None)
    audit(folder / CATALOGUE, folder / "audit", read_rigs([folder / RIGS], answerer().reader), supplier="Made up")
    return folder


@pytest.fixture
def database(sqlite: store.Database) -> store.Database:
    """Give a database without rows; what audits do of their own does not depend on which kind it is."""
    return sqlite


@pytest.fixture
def client(database: store.Database, tmp_path: Path) -> Iterator[Client]:
    """Give a client of a service that keeps its audits in a folder of its own, and takes files of a megabyte."""
    app = create_app(database, answerer(), tmp_path / "audits", 1_000_000)
    with TestClient(app, raise_server_exceptions=False) as opened:
        yield opened


@pytest.fixture
def idle(database: store.Database, tmp_path: Path) -> Client:
    """Give a client of a service that was not started, and so carries nothing out."""
    return TestClient(create_app(database, answerer(), tmp_path / "audits", 1_000_000), raise_server_exceptions=False)


def create(client: Client, key: dict[str, str], **told: Any) -> str:
    """Make an audit, and return its path."""
    response = client.post("/v1/audits", json=told, headers=key)
    assert response.status_code == 201, response.text
    return str(response.headers["location"])


def send(client: Client, key: dict[str, str], path: str, name: str, content: bytes, kind: dict[str, str]) -> Any:
    """Send a file, and return the audit."""
    response = client.put(f"{path}/files/{name}", content=content, headers=key | kind)
    assert response.status_code == 200, response.text
    return response.json()


def started(client: Client, key: dict[str, str], path: str) -> Any:
    """Start an audit, wait for its process to end it, and return it."""
    assert client.post(f"{path}/start", headers=key).status_code == 202
    while (told := client.get(path).json())["state"] in ("queued", "running"):
        assert told["progress"] is None or set(told["progress"]) == {"stage", "done", "total", "seconds_left"}
        time.sleep(0.1)
    return told


CarriedOut = Callable[[str], Any]


@pytest.fixture
def carried_out(
    idle: Client, key: dict[str, str], database: store.Database, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> CarriedOut:
    """Give a way to start an audit, carry it out here as its process would, and return it."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", database.url)
    monkeypatch.setattr(audits_worker, "cached_rulebook", lambda _: rulebook)

    def carry_out(path: str) -> Any:
        assert idle.post(f"{path}/start", headers=key).json()["state"] == "queued"
        audits_worker.main(audits_of(idle).get(path.rpartition("/")[2]), rulebook.digest)
        return idle.get(path).json()

    return carry_out


def audits_of(client: Client) -> Audits:
    """The audits of a service."""
    return service_in(client.app).audits


def test_an_audit_finds_what_the_command_finds(client: Client, key: dict[str, str], made: Path) -> None:
    """Files sent and an audit started: every table, in every format, has what the command's has."""
    path = create(client, key, id="aud_made", name="Made up")
    told = send(client, key, path, "catalogue", (made / CATALOGUE).read_bytes(), CSV)
    assert [(one["name"], one["bytes"]) for one in told["files"]] == [("catalogue", (made / CATALOGUE).stat().st_size)]
    send(client, key, path, "rigs", (made / RIGS).read_bytes(), LINES)
    told = started(client, key, path)
    assert (told["state"], told["problems"], told["name"]) == ("finished", [], "Made up")
    assert told["results"] == [name for name in TABLES if name not in ("changes", "items_changed")]
    kept = json.loads((made / "audit" / "summary.json").read_text())
    day = told["created_at"][:10]
    assert client.get(f"{path}/summary").json() == {**kept, "about": kept["about"] | {"day": day}}
    described = {
        "$ref": "#/components/schemas/AuditSummary",
        "components": client.get("/openapi.json").json()["components"],
    }
    OAS31Validator(described).validate(client.get(f"{path}/summary").json())
    page = client.get(f"{path}/page")
    beside = (made / "audit" / "summary.html").read_text()
    shown = re.sub(r'href="(\w+)\.(csv|xlsx)"', r'href="results/\1?format=\2"', beside)
    assert DAY.sub(b"", page.content) == shown.encode() != beside.encode()
    book = client.get(f"{path}/results/fix_list?format=xlsx")
    assert book.content == (made / "audit" / "fix_list.xlsx").read_bytes()
    assert problem(client.get(f"{path}/results/claims?format=xlsx"), 404)["detail"].startswith(
        "`claims` is no workbook"
    )
    for link in set(re.findall(r'href="([^"]+)"', page.text)):
        assert client.get(f"{path}/{link}").status_code == 200
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert "default-src 'none'" in page.headers["content-security-policy"]
    for name in told["results"]:
        as_csv, as_lines, as_parquet = (
            client.get(f"{path}/results/{name}?format={format}").content for format in ("csv", "jsonl", "parquet")
        )
        rows = list(csv.DictReader(io.StringIO(as_csv.decode())))
        lines = [json.loads(line) for line in as_lines.splitlines()]
        assert pq.read_table(io.BytesIO(as_parquet)).to_pylist() == lines
        assert [{k: str(v) for k, v in line.items()} for line in lines] == [
            row | {"claimed": row["claimed"].capitalize()} if name == "pairs" else row for row in rows
        ]
        if name == "fits":
            write_fits(made / "audit", answerer().rulebook, made / "shop", "csv")
            loads = ("at_most", "times", "each")  # what may be loaded is told by the command alone
            told_there = findings(made / "shop", name)
            assert rows == [{key: cell for key, cell in row.items() if key not in loads} for row in told_there]
        elif name != "pairs":
            assert rows == findings(made / "audit", name)
    assert len(lines) > 10
    (listed,) = client.get("/v1/suppliers").json()["suppliers"]
    claims, others = kept["claims"], [one["claimed"] for one in kept["others"].values()]
    assert (listed["supplier"], len(listed["deliveries"])) == ("Made up", 1)
    (delivery,) = listed["deliveries"]
    assert (delivery["audit"], delivery["day"], delivery["fixes"]) == ("aud_made", day, kept["fixes"])
    assert delivery["false"] == claims["fails"] + sum(one["fails"] for one in others)
    card = client.get("/audits/scorecard")
    assert "Made up" in card.text and "default-src 'none'" in card.headers["content-security-policy"]
    assert "Whole columns" not in client.get("/audits/aud_made").text
    told_of = audits_of(client).get("aud_made").out / "summary.json"
    told_of.write_text(
        json.dumps(json.loads(told_of.read_text()) | {"suspicious_columns": {"weight": "the whole column: <kg>"}})
    )
    shown = client.get("/audits/aud_made").text.partition("Whole columns that look wrong")[2]
    assert "own weight: the whole column: &lt;kg&gt;</li>" in shown


def test_an_audit_is_told_in_the_language_in_which_it_was_made(
    idle: Client, key: dict[str, str], carried_out: CarriedOut, made: Path, tmp_path: Path
) -> None:
    """Page and list of what to mend are the command's in that language, whoever starts it or reads them in another."""
    spanish = with_point("es", spoken_tongues(None))
    assert spanish is not None
    asked: dict[str, Any] = {"supplier": "Made up", "title": CATALOGUE}
    audit(made / CATALOGUE, tmp_path / "es", read_rigs([made / RIGS], answerer().reader), tongue=spanish, **asked)
    for wish, beside in (("es-MX, en;q=0.5", tmp_path / "es"), ("xx, en;q=0.5", made / "audit")):
        path = create(idle, key | {"Accept-Language": wish}, name="Made up")
        send(idle, key, path, "catalogue", (made / CATALOGUE).read_bytes(), CSV)
        send(idle, key, path, "rigs", (made / RIGS).read_bytes(), LINES)
        assert carried_out(path)["state"] == "finished"
        other = {"Accept-Language": "en"} if "es" in wish else {"Accept-Language": "es"}
        fixes = idle.get(f"{path}/results/fix_list?format=csv", headers=other)
        assert fixes.content == (beside / "fix_list.csv").read_bytes()
        page, told = idle.get(f"{path}/page", headers=other).text, (beside / "summary.html").read_text("utf-8")
        assert page[: page.index("<head>")] == told[: told.index("<head>")]
        assert page.startswith(
            '<!doctype html>\n<html lang="es' if "es" in wish else '<!doctype html>\n<html lang="en"'
        )
        assert re.findall(r"<h2[^>]*>[^<]+</h2>", page) == re.findall(r"<h2[^>]*>[^<]+</h2>", told)


def test_the_rigs_of_the_store_and_a_load(
    idle: Client,
    key: dict[str, str],
    carried_out: CarriedOut,
    database: store.Database,
    made: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without rigs of its own an audit takes the store's, with the load that it was made with; mapped columns too.

    What is false opens at the service's own address, with that load.
    """
    from fitsvc.loading.load import load_file

    monkeypatch.setenv(COUNTER_VARIABLE, "https://shop.example")

    load_file(database, answerer().reader, made / RIGS)
    load = {"facts": {"bikes": 2, "bike_weight": "60 lb"}}
    path = create(idle, key, load=load)
    assert idle.get(path).json()["asked"] == {"load": load}
    rows = (made / CATALOGUE).read_text().replace("weight [lb]", "Wt", 1)
    send(idle, key, path, "catalogue", rows.encode(), CSV)
    send(idle, key, path, "mapping", b"columns:\n  Wt: {fact: weight, unit: lb}\n", YAML)
    assert carried_out(path)["state"] == "finished"
    told = json.loads((made / "audit" / "summary.json").read_text())["outcomes"]
    loaded = idle.get(f"{path}/summary").json()["outcomes"]
    assert sum(loaded.values()) == sum(told.values())
    assert loaded["fails"] > told["fails"]
    links = re.findall(r'href="https://shop.example/answer\?([^"]+)"', idle.get(f"{path}/page").text)
    assert links
    assert [one for one in links if not {"load.bikes=2", "load.bike_weight=60+lb"} <= set(one.split("&amp;"))] == []


def test_an_audit_is_by_the_folder_of_rules_that_is_served(
    idle: Client, key: dict[str, str], carried_out: CarriedOut, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder that the service was given is the one that the process of an audit reads."""
    shop, read = Path("shop-rules"), list[Path]()

    def reading(folder: Path) -> Rulebook:
        read.append(folder)
        return rulebook

    running = Running(audits_of(idle), "sqlite:///unused.db", rulebook.digest, shop, "https://shop.example")
    with patch("subprocess.Popen") as begun:
        path = create(idle, key)
        send(idle, key, path, "catalogue", b"sku\nA\n", CSV)
        assert idle.post(f"{path}/start", headers=key).status_code == 202
        running._begin_next()
    told = begun.call_args.kwargs["env"]["FITSVC_RULES"]
    assert told == str(shop.absolute())
    assert begun.call_args.kwargs["env"][COUNTER_VARIABLE] == "https://shop.example"
    monkeypatch.setenv("FITSVC_RULES", told)
    monkeypatch.setattr(audits_worker, "cached_rulebook", reading)
    audits_worker.main(audits_of(idle).get(path.rpartition("/")[2]), rulebook.digest)
    assert read == [shop.absolute()]


def test_compared_with_an_earlier_audit(
    idle: Client, key: dict[str, str], carried_out: CarriedOut, made: Path, tmp_path: Path
) -> None:
    """An audit against a finished one tells what is new and lost, in whatever form each catalogue came."""
    rows = list(csv.reader((made / CATALOGUE).read_text().splitlines()[:60]))
    tabs = "\n".join("\t".join(row) for row in rows).encode()
    wider = [["3 in" if cell == "2 in" else cell for cell in row] for row in rows]
    book = write_xlsx(tmp_path / "wider.xlsx", {"Items": wider}).read_bytes()
    create(idle, key, id="aud_first")
    body = {"against": "aud_first"}
    assert problem(idle.post("/v1/audits", json=body, headers=key), 409)["detail"].endswith("is `new`")
    for told_as, content in ((TSV, tabs), (XLSX, book)):
        path = "/v1/audits/aud_first" if told_as is TSV else create(idle, key, **body)
        send(idle, key, path, "catalogue", content, told_as)
        send(idle, key, path, "rigs", (made / RIGS).read_bytes(), LINES)
        told = carried_out(path)
        assert told["state"] == "finished", told
    assert "changes" in told["results"]
    lost = list(csv.DictReader(io.StringIO(idle.get(f"{path}/results/changes").text)))
    assert {(row["change"], row["cause"]) for row in lost} == {("lost", "item")}


@pytest.mark.parametrize(
    ("content", "kind", "words"),
    [
        (b"sku,weight\nA,3 lb\nB," + b"9" * 999_000 + b"9" * 900 + b"\n", CSV, None),
        (b"sku,weight\nA,3 lb\nB," + b'"9\n",' * 190_000 + b"\n", CSV, None),
        (b"PAR1 nothing of the sort", PARQUET, "is not Parquet"),
        (b"sku,wieght\n", CSV, "no row could be read"),
        (b"\0" * 1000, CSV, "NUL"),
    ],
)
def test_a_catalogue_that_cannot_be_audited(
    idle: Client,
    key: dict[str, str],
    carried_out: CarriedOut,
    made: Path,
    content: bytes,
    kind: dict[str, str],
    words: str | None,
) -> None:
    """It fails with what is wrong and where; sent again as it should be, the same audit is carried out."""
    path = create(idle, key)
    send(idle, key, path, "catalogue", content, kind)
    send(idle, key, path, "rigs", (made / RIGS).read_bytes(), LINES)
    told = carried_out(path)
    if words is not None:
        assert told["state"] == "failed"
        assert any(words in one["detail"] and one["file"] == "catalogue" for one in told["problems"]), told
        problem(idle.get(f"{path}/summary"), 409)
        send(idle, key, path, "catalogue", b"sku,kind\nA,step\n", CSV)
        told = carried_out(path)
    assert told["state"] == "finished", told


def test_no_rigs_anywhere(idle: Client, key: dict[str, str], carried_out: CarriedOut) -> None:
    """An audit without rigs, over a store without any, fails and says so."""
    path = create(idle, key)
    send(idle, key, path, "catalogue", b"sku,kind\nA,step\n", CSV)
    told = carried_out(path)
    assert (told["state"], told["problems"][0]["detail"]) == ("failed", "there are no rigs")


def test_files_that_are_refused(idle: Client, key: dict[str, str], tmp_path: Path) -> None:
    """A wrong type, an unknown file, too many bytes, none at all: a problem each, and nothing is kept."""
    path = create(idle, key)
    for name, kind in (("catalogue", YAML), ("mapping", CSV), ("rigs", PARQUET), ("catalogue", {})):
        told = problem(idle.put(f"{path}/files/{name}", content=b"x", headers=key | kind), 415)
        assert "Content-Type" in told["detail"]
    zipped = CSV | {"Content-Encoding": "gzip"}
    problem(idle.put(f"{path}/files/catalogue", content=b"x", headers=key | zipped), 415)
    problem(idle.put(f"{path}/files/extra", content=b"x", headers=key | CSV), 404)
    problem(idle.put(f"{path}/files/catalogue", content=b"", headers=key | CSV), 400)
    announced = idle.put(f"{path}/files/catalogue", content=b"x" * 1_000_001, headers=key | CSV)
    pieces = idle.put(f"{path}/files/catalogue", content=iter([b"x" * 600_000] * 2), headers=key | CSV)
    for response in (announced, pieces):
        assert "larger than the 1 MB taken here" in problem(response, 413)["detail"]
    assert idle.get(path).json()["files"] == []
    assert not list((tmp_path / "audits").rglob("*.part"))
    problem(idle.post(f"{path}/start", headers=key), 409)


def test_an_audit_that_was_started_is_left_alone(idle: Client, key: dict[str, str]) -> None:
    """Its files stay as they are and it cannot be deleted, until it is cancelled."""
    path = create(idle, key)
    send(idle, key, path, "catalogue", b"sku,kind\nA,step\n", CSV)
    for _ in range(2):
        assert idle.post(f"{path}/start", headers=key).json()["state"] == "queued"
    problem(idle.put(f"{path}/files/catalogue", content=b"sku\n", headers=key | CSV), 409)
    problem(idle.delete(path, headers=key), 409)
    assert idle.post(f"{path}/cancel", headers=key).json()["state"] == "cancelled"
    assert idle.post(f"{path}/cancel", headers=key).json()["state"] == "cancelled"
    assert idle.delete(path, headers=key).status_code == 204
    problem(idle.get(path), 404)
    assert idle.get("/v1/audits").json() == {"items": [], "next": None}


def test_times_are_written_in_one_form(idle: Client, key: dict[str, str]) -> None:
    """An audit's as a record's: in UTC, with a `Z`."""
    audit = idle.post("/v1/audits", json={"id": "aud_when"}, headers=key).json()
    record = idle.post("/v1/vehicles", json={"id": "veh_when", "facts": {}}, headers=key).json()
    form = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")
    assert all(form.fullmatch(one["created_at"]) for one in (audit, record))


def test_bodies_that_are_refused(idle: Client, key: dict[str, str]) -> None:
    """Each member that is wrong is pointed at."""
    for body, place in (
        ({"id": "spring"}, "/id"),
        ({"id": "aud_../up"}, "/id"),
        ({"name": 3}, "/name"),
        ({"nam": "x"}, "/nam"),
        ({"against": "aud_none"}, "/against"),
        ({"against": 3}, "/against"),
        ({"load": {"sku": "x"}}, "/load"),
        ({"load": {"facts": {"bikes": "many"}}}, "/load/facts/bikes"),
        ({"load": {"facts": {"bykes": 2}}}, "/load/facts/bykes"),
        ({"name": "a\0b"}, "/name"),
    ):
        response = idle.post("/v1/audits", json=body, headers=key)
        assert pointers(problem(response, response.status_code)) == [place]
        assert response.status_code in (400, 409, 422)
    create(idle, key, id="aud_once")
    problem(idle.post("/v1/audits", json={"id": "aud_once"}, headers=key), 409)


def test_pages_of_audits(idle: Client, key: dict[str, str]) -> None:
    """Audits are listed by their ids."""
    for name in ("c", "a", "b"):
        create(idle, key, id=f"aud_{name}")
    first = idle.get("/v1/audits?limit=2").json()
    assert [one["id"] for one in first["items"]] == ["aud_a", "aud_b"]
    rest = idle.get(f"/v1/audits?limit=2&after={first['next']}").json()
    assert ([one["id"] for one in rest["items"]], rest["next"]) == (["aud_c"], None)


def test_a_half_deleted_folder_ends_no_page_early(idle: Client, key: dict[str, str]) -> None:
    """What is left of a deleted audit takes no place on a page: every audit is on one page or another."""
    for name in ("a", "b", "c", "d"):
        create(idle, key, id=f"aud_{name}")
    (audits_of(idle).get("aud_b").path / "audit.json").unlink()
    first = idle.get("/v1/audits?limit=2").json()
    assert ([one["id"] for one in first["items"]], first["next"]) == (["aud_a", "aud_c"], "aud_c")
    rest = idle.get("/v1/audits?limit=2&after=aud_c").json()
    assert ([one["id"] for one in rest["items"]], rest["next"]) == (["aud_d"], None)


def test_an_id_may_be_used_again(client: Client, key: dict[str, str]) -> None:
    """An audit under the id of one that was finished and deleted is carried out as any."""
    rig = b'{"subject": "rig", "id": "rig_a", "name": "A", "rig": {"receiver": {"facts": {"opening": "2 in"}}}}'
    for _ in range(2):
        path = create(client, key, id="aud_again", name="Made up")
        send(client, key, path, "catalogue", b"sku,kind\nA,step\n", CSV)
        send(client, key, path, "rigs", rig, LINES)
        assert started(client, key, path)["state"] == "finished"
        time.sleep(0.6)
        assert client.delete(path, headers=key).status_code == 204


def test_a_cancelled_audit_goes_on_where_it_was(
    client: Client, key: dict[str, str], made: Path, tmp_path: Path
) -> None:
    """Cancelled and started again, again and again, an audit comes to the same files."""
    path = create(client, key, id="aud_again", name="Made up")
    send(client, key, path, "catalogue", (made / CATALOGUE).read_bytes(), CSV)
    send(client, key, path, "rigs", (made / RIGS).read_bytes(), LINES)
    folder = AuditFolder(tmp_path / "audits" / "aud_again")
    for _ in range(2):
        client.post(f"{path}/start", headers=key)
        until(lambda: client.get(path).json()["state"] != "queued", "the audit to begin")
        assert client.post(f"{path}/cancel", headers=key).json()["state"] == "cancelled"
        until(lambda: not folder.is_held(), "the audit's process to let go")
        assert client.get(path).json()["state"] == "cancelled"
    assert started(client, key, path)["state"] == "finished"
    assert undated(tmp_path / "audits" / "aud_again" / "out") == undated(made / "audit")
