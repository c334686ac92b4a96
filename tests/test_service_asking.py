"""Asking over HTTP: the same answers as everywhere, with and without stored records."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem

from fitsvc.answers.answer import Answer, encode
from fitsvc.answers.answering import Answerer
from fitsvc.inventory.shelf import Shop
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service import shortcut
from fitsvc.service.examples import BODIES, QUESTION

Client = TestClient[Litestar]
_JSON = {"content-type": "application/json"}


def store_examples(client: Client, key: dict[str, str]) -> None:
    """Store the description's examples of records and rigs."""
    for name, path in (
        ("NewVehicle", "vehicles"),
        ("NewReceiver", "receivers"),
        ("NewMounting", "mountings"),
        ("NewAccessory", "accessories"),
        ("NewRig", "rigs"),
    ):
        assert client.post(f"/v1/{path}", json=BODIES[name], headers=key).status_code == 201


def _counted(client: Client, of: str) -> float:
    """Return how many of a kind a service has counted, of all outcomes."""
    lines = client.get("/metrics").text.splitlines()
    return sum(float(line.split()[-1]) for line in lines if line.startswith(f"fitsvc_{of}_total"))


def weights(answer: dict[str, Any]) -> set[str]:
    """Return how an answer shows the accessory's weight."""
    return {facts["accessory.weight"] for one in answer["findings"] if "accessory.weight" in (facts := one["facts"])}


def test_an_answer_is_the_answerers_own(client: Client, rulebook: Rulebook) -> None:
    """The body is byte for byte what the answerer gives."""
    response = client.post("/v1/answers", json=QUESTION)
    assert response.content == encode(Answerer(rulebook).answer(QUESTION))
    assert response.headers["content-type"] == "application/json"


def test_the_command_line_gives_the_same_bytes(client: Client, tmp_path: Path) -> None:
    """`fitsvc answer --json` and the service answer alike."""
    (tmp_path / "question.json").write_bytes(msgspec.json.encode(QUESTION))
    program = "from fitsvc.cli import main; main()"
    command = [sys.executable, "-c", program, "answer", "--json", str(tmp_path / "question.json")]
    done = subprocess.run(command, capture_output=True, check=True)
    assert done.stdout.rstrip(b"\n") == client.post("/v1/answers", json=QUESTION).content


def test_units_choose_the_display_only(client: Client) -> None:
    """Metric figures tell the same outcome."""
    us, metric = (client.post(f"/v1/answers?units={units}", json=QUESTION) for units in ("us", "metric"))
    assert us.json()["outcome"] == metric.json()["outcome"]
    assert weights(us.json()) == {"52 lb"}
    assert weights(metric.json()) == {"24 kg"}
    problem(client.post("/v1/answers?units=miles", json=QUESTION), 400)
    problem(client.post("/v1/answers?units=us&units=us", json=QUESTION), 400)


def test_stored_records_answer_as_inline_facts_do(client: Client, key: dict[str, str]) -> None:
    """A question by ids, one by a saved rig, and one with all facts inline find the same."""
    store_examples(client, key)
    by_id = {
        "rig": {"vehicle": {"id": "veh_moorfell_2019"}, "mounting": {"id": "mnt_moorfell_dray_2"}},
        "accessory": {"sku": "DRY-RACK-4"},
    }
    by_rig = {"rig": {"id": "rig_farm"}, "accessory": {"sku": "DRY-RACK-4"}}
    facts = {name: {"facts": BODIES[f"New{name.title()}"]["facts"]} for name in ("vehicle", "receiver", "mounting")}
    inline = {"rig": facts, "accessory": {"facts": BODIES["NewAccessory"]["facts"]}}
    answers = [client.post("/v1/answers", json=question).json() for question in (by_id, by_rig, inline)]
    results = [[(one["rule"], one["result"]) for one in answer["findings"]] for answer in answers]
    assert results[0] == results[1] == results[2] != []
    assert answers[0]["assumed"] == answers[1]["assumed"] != []


def test_a_record_that_is_not_stored_cannot_be_asked_about(client: Client) -> None:
    """Unknown ids are told with their places, all of them."""
    rig = {"vehicle": {"id": "veh_none"}, "id": "rig_none"}
    for sku, status in (("NONE", 409), ("N\0NE", 400)):  # one that none could have is unreadable, stored or not
        found = problem(client.post("/v1/answers", json={"rig": rig, "accessory": {"sku": sku}}), status)
        assert sorted(pointers(found)) == ["/accessory/sku", "/rig/id", "/rig/vehicle/id"]


@pytest.mark.parametrize(
    ("facts", "status"),
    [
        ({"weight": "900 t"}, 422),
        ({"weight": 52}, 400),
        ({"shank": "50 mm"}, 400),
        ({"bikes_max": 10**400}, 422),
        ({"bikes_max": 2.5}, 400),
        ({"weight": {"at_least": "3 lb", "at_most": "2 lb"}}, 422),
        ({"wieght": "52 lb"}, 400),
        ({"weight": "52 lb\0"}, 400),
        ([], 400),
    ],
)
def test_what_cannot_be_read_is_bad_and_what_cannot_be_is_unprocessable(
    client: Client, facts: object, status: int
) -> None:
    """The form of a fact decides between 400 and 422."""
    body = msgspec.json.encode({"accessory": {"facts": facts}})
    problem(client.post("/v1/answers", content=body, headers={"content-type": "application/json"}), status)


def test_nothing_asked_is_unprocessable(client: Client) -> None:
    """A question about nothing says so."""
    problem(client.post("/v1/answers", json={}), 422)


def test_a_large_question_is_answered_beside_the_loop(
    client: Client, monkeypatch: pytest.MonkeyPatch, rulebook: Rulebook
) -> None:
    """A question past the small size takes a thread, and its answer is the same."""
    padded = msgspec.json.encode(QUESTION) + b" " * 20_000
    response = client.post("/v1/answers", content=padded, headers={"content-type": "application/json"})
    assert response.content == encode(Answerer(rulebook).answer(QUESTION))
    assert len(padded) > shortcut.SMALL


def test_answers_are_of_the_shape_described(client: Client) -> None:
    """An answer decodes as the struct that its schema is made from."""
    assert msgspec.json.decode(client.post("/v1/answers", json=QUESTION).content, type=Answer).findings


def test_a_hostile_question_costs_little(client: Client) -> None:
    """A question with as many unknown names as are read is refused within a second or so."""
    names = {f"wheel_base_{number}": "1 in" for number in range(900)}
    response = client.post("/v1/answers", json={"rig": {"vehicle": {"facts": names}}, "accessory": {"facts": {}}})
    assert len(problem(response, 400)["errors"]) == 100
    assert response.elapsed.total_seconds() < 3


def test_a_fault_on_the_short_way_is_told(
    client: Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, rulebook: Rulebook
) -> None:
    """The question is answered the usual way; the fault is counted and logged, and a question refused is none."""

    def fail(_: object) -> None:
        raise RuntimeError("the shelf is upside down")

    client.post("/v1/answers", json={"accessory": {"facts": {"weight": "heavy"}}})
    assert "fitsvc_shortcut_faults_total 0.0" in client.get("/metrics").text
    monkeypatch.setattr(Shop, "lately", fail)
    response = client.post("/v1/answers", json=QUESTION)
    assert response.content == encode(Answerer(rulebook).answer(QUESTION))
    assert "fitsvc_shortcut_faults_total 1.0" in client.get("/metrics").text
    assert "the shelf is upside down" in caplog.text


def test_the_short_way_and_the_long_way_give_the_same_bytes(client: Client) -> None:
    """A question answered before the framework sees it is answered as by the framework, headers and all."""
    head = {"content-type": "application/json"}
    short = client.post("/v1/answers", content=msgspec.json.encode(QUESTION), headers=head)
    long = client.post("/v1/answers?units=us", content=msgspec.json.encode(QUESTION) + b" " * 20_000, headers=head)
    assert short.content == long.content
    apart = {"x-request-id"}  # each request has one of its own
    assert short.headers["x-request-id"] != long.headers["x-request-id"]
    assert {one: short.headers[one] for one in {*short.headers} - apart} == {
        one: long.headers[one] for one in {*long.headers} - apart
    }


@pytest.mark.parametrize("left_out", ["", "weight", "shank"])
def test_a_question_asked_again_is_answered_the_same(client: Client, left_out: str, rulebook: Rulebook) -> None:
    """Settled, open or failing, on either way: again it is the same answer, counted like the first."""
    question = msgspec.json.decode(msgspec.json.encode(QUESTION))
    question["accessory"]["facts"].pop(left_out, None)
    for asked in (question, question | {"load": {"facts": {"bikes": 4, "bike_weight": "90 lb"}}}):
        wanted, before = Answerer(rulebook).answer(asked), _counted(client, "answers")
        told = [client.post("/v1/answers", json=asked) for _ in range(3)]
        assert {one.content for one in told} == {encode(wanted)}
        assert _counted(client, "answers") == before + 3


def test_what_was_asked_before_is_told_in_the_language_and_units_of_each(client: Client) -> None:
    """An answer in Spanish, or in kilograms, is not the one that was told in English and pounds."""
    ways = [("", "en"), ("", "es"), ("?units=metric", "en"), ("?units=metric", "es")]
    told = [
        client.post(f"/v1/answers{query}", json=QUESTION, headers={"accept-language": one}).content
        for query, one in ways * 2
    ]
    assert told[:4] == told[4:]
    assert len(set(told)) == 4


def test_a_no_asked_again_is_told_with_what_is_sold_by_then(client: Client, key: dict[str, str]) -> None:
    """What failed before anything was on the shelf is told with what helps, once that is."""
    question = {
        "rig": {"receiver": {"facts": {"opening": "2 in", "pin_hole": "5/8 in"}}},
        "accessory": {"facts": {"kind": "bike_carrier", "shank": "1-1/4 in", "pin": "1/2 in"}},
    }
    padded = msgspec.json.encode(question) + b" " * 20_000  # answered beside the loop, it looks at the shelf
    client.post("/v1/answers", content=padded, headers=_JSON)
    first = client.post("/v1/answers", json=question).json()
    assert (first["outcome"], first["remedies"]) == ("fails", [])
    assert (
        client.post("/v1/accessories", json=BODIES["NewAccessory"] | {"sku": "OTHER"}, headers=key).status_code == 201
    )
    client.post("/v1/answers", content=padded, headers=_JSON)
    again = client.post("/v1/answers", json=question).json()
    assert [one["change"] for one in again["remedies"]] == ["none"]
    assert "No single part on the shelf would do" in again["remedies"][0]["because"]
