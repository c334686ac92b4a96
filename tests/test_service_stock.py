"""The service as its description reads to a stranger: the stock strategies of schemathesis, all phases and checks.

Nothing is taught to the tool here, so that most of what it sends names what is not stored, or says what cannot be. It
runs over the made-up shop, on each kind of database, with a key and without; by day it is left out, as it takes minutes
of processor time for each of its runs.

The coverage phase makes nearly two hundred thousand cases of the description, the same ones for each seed, nearly all
of them of the bodies of some thirty operations: case by case through the members, in the order in which they are
described, which means nothing. So each of the twelve runs (three seeds, with a key and without, on either database) is
given the members in another order, and of an operation's bodies the first `FITSVC_STOCK_BODIES` cases are sent that
have to be accepted, and as many that must not be; all that it makes of paths, queries, headers and methods is sent by
each run, and so are the phases of examples, fuzzing and states, which differ by the seed. 0 sends all bodies, in hours.

`FITSVC_STOCK_EXAMPLES` is how many cases a phase draws for an operation, `FITSVC_STOCK_FACTS` how many for one whose
body has facts, each of which costs ten times as much, `FITSVC_STOCK_STATES` how many walks from one operation to the
next, and `FITSVC_STOCK_PHASES` which phases there are, with commas between; `FITSVC_STOCK_OPERATIONS` is a pattern of
the operations' ids, in place of all of them.

The tool's own expectations hold. What is well formed and refused is passed only for what no schema can say, which
`unsaid` lists, case by case; and none of it is taken on trust: each error of a 422 has to lead to a place in what was
sent; what is only asked is asked again without what the errors point to, until it is answered; and a change is sent
again under the condition that holds, and is then held up by none. Files are not made wrong on purpose: any bytes are
one. A change without its condition is refused as RFC 6585 has it, by 428, which the tool takes from headers that are
wrong and not from ones that are missing.
"""

import json
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from random import Random
from time import process_time
from typing import Any, Final
from urllib.parse import unquote, urlsplit

import pytest
import schemathesis
from demo_world import SEED, answerer
from litestar.testing import TestClient
from schemathesis.core.cache import BoundedCache
from schemathesis.engine import Status, context, events, from_schema
from schemathesis.engine.recorder import ScenarioRecorder
from schemathesis.generation.coverage import GenerationSession
from schemathesis.specs.openapi.coverage import _operation
from unsaid import unsaid

from fitsvc.loading.load import in_order, load_file
from fitsvc.service.app import create_app
from fitsvc.service.audits.handlers import UPLOADS
from fitsvc.service.context import service_in
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

SEEDS: Final = (1, 2, 3)
EXAMPLES: Final = int(os.environ.get("FITSVC_STOCK_EXAMPLES", "10"))
NAMES: Final = ("examples", "coverage", "fuzzing", "stateful")
PHASES: Final = os.environ.get("FITSVC_STOCK_PHASES", ",".join(NAMES)).split(",")
FACTS: Final = int(os.environ.get("FITSVC_STOCK_FACTS", "3"))
BODIES: Final = int(os.environ.get("FITSVC_STOCK_BODIES", "50"))
STATES: Final = int(os.environ.get("FITSVC_STOCK_STATES", "100"))
"""Walks from one operation to the next by what it replied, of six steps at the most."""
LEAST: Final = 2_000
"""Cases of a run, so that there are more than 20,000 in all."""
OPERATIONS: Final = os.environ.get("FITSVC_STOCK_OPERATIONS", "")
OF_FACTS: Final = "^(answer|plan|select|match|(create_(?!audit)|replace_|try_).*)$"
ASKS: Final = ("/v1/answers", "/v1/selections", "/v1/matches")
"""What is only asked: asking again changes nothing."""
CHECKS: Final = {
    "missing_required_header": {"expected-statuses": ["400", "401", "403", "406", "415", "422", "428"]},
}
OF_FILES: Final = {
    "include-operation-id-regex": "^(send_.*|load_catalogue)$",
    "generation": {"mode": "positive"},
}
_MENDED_AT_MOST: Final = 300
"""Refused questions of a run that are asked again."""
_SENT_AGAIN: Final = ("content-type", "x-api-key")
_SECONDS: Final = 120
_TOLD: Final = 5
"""Replies that are told as the slowest."""
_KEPT: Final = 50_000
"""Values that are kept of those drawn from one description: some ten thousand."""
_STEPS: Final = 12
"""How often one is asked again: what is wrong with a thing is told once its own facts can be read."""


@schemathesis.serializer(*UPLOADS)
def as_it_is(_: Any, value: Any) -> bytes:
    """Send a file as the bytes it is, whatever was made for it."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "replace")


@dataclass
class Tally:
    """What came of one run; `ranged` are the facts whose range the description tells."""

    ranged: frozenset[str]
    cases: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    failures: Counter[tuple[str, ...]] = field(default_factory=Counter)
    shown: dict[tuple[str, ...], str] = field(default_factory=dict)
    refused: dict[tuple[str, str], tuple[str, bytes, list[Any]]] = field(default_factory=dict)
    passed: Counter[str] = field(default_factory=Counter)
    held_up: list[tuple[str, str, dict[str, str], bytes]] = field(default_factory=list)
    slowest: list[tuple[float, str]] = field(default_factory=list)

    def take(self, recorder: ScenarioRecorder) -> None:
        """Take what was sent, what came back, and what the checks say."""
        self.cases += len(recorder.interactions)
        for key, sent in recorder.interactions.items():
            if sent.response is None:
                asked = sent.request
                self._fail(("no reply", recorder.label), f"{asked.method} {asked.uri}\n{asked.body!r:.1500}")
                continue
            self.statuses[sent.response.status_code] += 1
            self._time(sent.response.elapsed, recorder.label, sent.request.body)
            if sent.response.status_code == 422:
                self._refused(recorder.label, sent)
            for check in recorder.checks.get(key, ()):
                if check.status is Status.FAILURE and not (
                    check.name == "positive_data_acceptance" and self._unsaid(sent)
                ):
                    told = check.failure_info.failure if check.failure_info else None
                    where = (check.name, recorder.label, str(sent.response.status_code))
                    sample = f"{told}\n{sent.request.method} {sent.request.uri}\n{sent.request.body!r:.1500}"
                    self._fail(where, f"{sample}\n{sent.response.content!r:.1500}")

    def _unsaid(self, sent: Any) -> bool:
        """Whether what was refused is what no schema can say; what a condition held up is kept, to be sent again."""
        asked, status = sent.request, sent.response.status_code
        problem, place = json.loads(sent.response.content), urlsplit(asked.uri)
        why = unsaid(status, problem, asked.method, unquote(place.path), asked.headers, asked.body)
        self.passed[why or "nothing"] += 1
        if status in (412, 428) and len(self.held_up) < _MENDED_AT_MOST:
            headers = {name: values[0] for name, values in asked.headers.items() if name.lower() in _SENT_AGAIN}
            path = place.path + (f"?{place.query}" if place.query else "")
            self.held_up.append((asked.method, path, headers, asked.body or b""))
        return bool(why)

    def _refused(self, label: str, sent: Any) -> None:
        """Hold a refusal to leading to its places; keep one of each kind, to be asked again."""
        body, errors = sent.request.body or b"", json.loads(sent.response.content).get("errors", [])
        if not errors:
            self._fail(("says nothing of where", label), sent.response.content.decode())
        for one in errors:
            if one.get("code") == "implausible" and not self._is_told(one):
                self._fail(("beyond what is told nowhere", label), f"{one}\n{body!r:.1500}")
            if "pointer" in one and body and not _leads(json.loads(body), one["pointer"]):
                self._fail(("leads nowhere", label), f"{one}\n{body!r:.1500}")
        path = urlsplit(sent.request.uri).path
        if path in ASKS and len(self.refused) < _MENDED_AT_MOST:
            kind = " ".join(sorted({_place(one.get("pointer", "")) for one in errors}))
            self.refused.setdefault((path, kind), (path, body, errors))

    def _is_told(self, error: Any) -> bool:
        """Whether the description tells beyond what a figure is: of facts; that a time is past needs no telling."""
        steps = error.get("pointer", "").split("/")
        named = steps[steps.index("facts") + 1] if "facts" in steps else steps[-1]
        return error.get("parameter") == "where" or named == "at" or named.rpartition(".")[2] in self.ranged

    def _time(self, seconds: float, label: str, body: Any) -> None:
        """Keep the slowest, by the clock, for who looks for what to bound."""
        if len(self.slowest) < _TOLD or seconds > self.slowest[-1][0]:
            self.slowest = sorted([*self.slowest, (seconds, f"{label} {body!r:.1500}")], reverse=True)[:_TOLD]

    def _fail(self, where: tuple[str, ...], sample: str) -> None:
        self.failures[where] += 1
        self.shown.setdefault(where, sample)

    def told(self) -> str:
        """All of it, for who reads the test's output."""
        failed = "\n".join(f"{count} x {where}\n{self.shown[where]}\n" for where, count in self.failures.most_common())
        again = f"{len(self.refused)} asked again, {len(self.held_up)} sent again"
        slow = "\n".join(f"{seconds:.1f} s {what}" for seconds, what in self.slowest)
        return f"{self.cases} cases, {dict(self.statuses)}, passed: {dict(self.passed)}, {again}\n{slow}\n{failed}"


def _ranged(description: Any) -> frozenset[str]:
    """The names of facts that have an `x-range` in a description."""
    properties = [one.get("properties", {}) for one in description["components"]["schemas"].values()]
    shown = [(name, one) for some in properties for name, one in some.items() if isinstance(one, dict)]
    return frozenset(name.rpartition(".")[2] for name, one in shown if "x-range" in one)


def _place(pointer: str) -> str:
    """A place without the numbers in it."""
    return "/".join("#" if step.isdigit() else step for step in pointer.split("/"))


def _leads(body: Any, pointer: str) -> bool:
    """Whether a pointer leads to a place in a body, or to a member that its place could have."""
    *steps, last = [one.replace("~1", "/").replace("~0", "~") for one in pointer.split("/")[1:]] or [""]
    for step in steps:
        try:
            body = body[int(step)] if isinstance(body, list) else body[step]
        except (KeyError, IndexError, ValueError, TypeError):
            return False
    return not last or isinstance(body, dict) or (isinstance(body, list) and last.isdigit() and int(last) < len(body))


def without(body: Any, errors: list[Any]) -> Any:
    """A body without what errors point to: of a fact all of it.

    Where that leaves nothing that is asked about, or one thing of several, an accessory is asked about by itself.
    """
    # From the last, so that the places of a list that are still to be seen to stay what they are.
    for pointer in sorted({one.get("pointer", "") for one in errors}, reverse=True):
        steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
        if "facts" in steps:
            steps = steps[: steps.index("facts") + 2]
        inner = body
        for step in steps[:-1]:
            inner = inner[int(step)] if isinstance(inner, list) else inner.get(step) if inner is not None else None
        if steps[:1] == ["together"] and isinstance(inner, dict) and steps[-1] not in inner:
            del body["together"][int(steps[1])]  # what it lacks is what the others have
        elif steps and isinstance(inner, dict):
            inner.pop(steps[-1], None)
        elif steps and isinstance(inner, list):
            del inner[int(steps[-1])]
        if "skus" not in body and (not steps or len(body.get("together") or "12") < 2):
            body["accessory"], body["together"] = {}, None
        elif "skus" in body and not body.get("together"):
            body["together"] = None
    return body


@pytest.fixture(scope="module")
def drawn() -> GenerationSession:
    """Give what the coverage phase draws, for all runs of a process.

    It follows from the description alone, the seed is the tool's own, and it takes minutes of processor time.
    """
    found = GenerationSession()
    found.values, found.draw_outcomes = BoundedCache(maxsize=_KEPT), BoundedCache(maxsize=_KEPT)
    return found


@pytest.fixture
def drawn_once(drawn: GenerationSession, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a run take what another has drawn, and of each operation's bodies the first."""
    drawn.unexpected_methods_seen.clear()
    monkeypatch.setattr(context, "GenerationSession", lambda: drawn)
    bodies = _operation._body_cases

    def first(run: Any) -> Iterator[Any]:
        for mode in run.generation_modes:
            yield from islice(bodies(replace(run, generation_modes=[mode])), BODIES or None)

    monkeypatch.setattr(_operation, "_body_cases", first)


def in_another_order(found: Any, order: Random, *, named: bool = False) -> Any:
    """A description with the members of its schemas in another order."""
    if isinstance(found, list):
        return [in_another_order(one, order) for one in found]
    if not isinstance(found, dict):
        return found
    names = order.sample(list(found), len(found)) if named else list(found)
    return {name: in_another_order(found[name], order, named=name == "properties" and not named) for name in names}


@pytest.fixture
def shop(migrated_url: str) -> Iterator[tuple[Database, str]]:
    """Give the made-up shop in a database, and a key that may do everything."""
    database = Database(migrated_url)
    files = [path for path in SEED.iterdir() if path.suffix in (".yaml", ".csv", ".jsonl")]
    for path in in_order(sorted(files), answerer().reader.vocabulary):
        load_file(database, answerer().reader, path)
    with database.session() as session:
        key = create_key(session, "stranger")[0]
    yield database, key
    database.close()


@pytest.mark.usefixtures("drawn_once")
@pytest.mark.timeout(14_400)  # with all of the coverage phase: hours on a machine with other things to do
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("known", [True, False], ids=["key", "no key"])
def test_a_stranger_finds_what_is_described(
    shop: tuple[Database, str], tmp_path: Path, known: bool, seed: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever is sent is answered as described, in time, and what is refused is refused where it says."""
    database, key = shop
    app = create_app(database, answerer(), tmp_path / "audits")
    of_facts = {"include-operation-id-regex": OF_FACTS, "generation": {"max-examples": FACTS, "no-shrink": True}}
    phases: dict[str, Any] = {name: {"enabled": name in PHASES} for name in NAMES}
    phases["stateful"]["generation"] = {"max-examples": STATES}
    config = {
        "seed": seed,
        "checks": CHECKS,
        "operations": [OF_FILES, of_facts],
        "continue-on-failure": True,
        # By the clock: a busy machine draws slowly, and answers slowly. What work a question may take is counted by
        # tests of its own.
        "suppress-health-check": ["too_slow"],
        "request-timeout": _SECONDS,
        "max-failures": 100_000,
        "generation": {"max-examples": EXAMPLES, "no-shrink": True, "database": "none"},
        "phases": phases,
        **({"headers": {"X-API-Key": key}} if known else {}),
    }
    run = f"{database.url.partition(':')[0]} {'key' if known else 'no key'} {seed}"
    described = in_another_order(json.loads(service_in(app).description.body), Random(run))
    schema: schemathesis.BaseSchema = schemathesis.openapi.from_dict(
        described, config=schemathesis.Config.from_dict(config)
    )
    schema = schema.include(operation_id_regex=OPERATIONS) if OPERATIONS else schema
    schema.app = app
    tally, begun = Tally(_ranged(json.loads(service_in(app).description.body))), process_time()
    for event in from_schema(schema).execute():
        if isinstance(event, events.ScenarioFinished):
            tally.take(event.recorder)
        elif isinstance(event, events.NonFatalError | events.FatalError):
            tally._fail(("error", str(getattr(event, "label", ""))), str(getattr(event, "value", event)))
    client = TestClient(app, raise_server_exceptions=False)
    asked_again(tally, client)
    sent_again(tally, client)
    with capsys.disabled():
        print(f"\n{run}: {process_time() - begun:.0f} s of processor time, {tally.told()}")
    assert not tally.failures, tally.told()
    assert tally.cases >= (75 if OPERATIONS else LEAST)


def sent_again(tally: Tally, client: Any) -> None:
    """Send what a condition held up under the one that holds for any version: then none holds it up."""
    for method, path, headers, body in tally.held_up:
        response = client.request(method, path, content=body, headers=headers | {"If-Match": "*"})
        if response.status_code in (400, 412, 428):
            tally._fail(("held up by more than its condition", method, path), response.text[:800])


def asked_again(tally: Tally, client: Any) -> None:
    """Ask what was refused once more without what the errors point to: then it has to be answered."""
    for path, body, errors in tally.refused.values():
        document, told = json.loads(body), errors
        for _ in range(_STEPS):
            if astray := [one for one in told if not _leads(document, one.get("pointer", ""))]:
                tally._fail(("leads nowhere when asked again", path), f"{astray}\n{json.dumps(document):.1500}")
                break
            document = without(document, told)
            response = client.post(path, json=document)
            if response.status_code == 200:
                break
            told = response.json().get("errors", [])
        else:
            tally._fail(("refused for more than it says", path), f"{json.dumps(document):.1500}\n{response.text:.800}")
