"""The service under requests made from its own description: well formed ones, and ones that are not.

`FITSVC_PROFILE=nightly` makes many more of them.
"""

import asyncio
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from copy import deepcopy
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import httpx
import msgspec
import pytest
import schemathesis
from demo_world import answerer
from effort import NIGHTLY
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from litestar import Litestar
from schemathesis.core.result import Ok
from schemathesis.generation import GenerationMode
from schemathesis.pytest.lazy import get_all_tests
from schemathesis.specs.openapi.checks import positive_data_acceptance
from unsaid import unsaid

from fitsvc.language.quantities import UNITS
from fitsvc.language.types import NumberType
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.service.app import create_app
from fitsvc.service.audits.folder import SUPPLIERS
from fitsvc.service.audits.handlers import UPLOADS
from fitsvc.service.context import service_in
from fitsvc.service.examples import BODIES
from fitsvc.service.reporting import Nightly
from fitsvc.service.settings import Settings
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

EXAMPLES = 400 if NIGHTLY else 20
PATHS = {
    "NewVehicle": "vehicles",
    "NewReceiver": "receivers",
    "NewMounting": "mountings",
    "NewAccessory": "accessories",
    "NewRig": "rigs",
    "NewObservation": "observations",
    "NewAudit": "audits",
    "NewRemark": "remarks",
}

# The tool's own expectations, but that a change without its condition is refused as RFC 6585 has it, by 428. What is
# well formed and refused is passed only for what no schema can say: `unsaid` lists it.
CHECKS = {"missing_required_header": {"expected-statuses": ["400", "401", "428"]}}
STORED = {name.removeprefix("New").lower(): body.get("id", body.get("sku")) for name, body in BODIES.items()}
TYRES = ("245/75R16", "LT285/70R17", "33X12.50R15LT", "P225/60R17 99H", "195/65R15")


class Stage:
    """The application that requests go to: tests are made before there is a database for it."""

    app: Litestar

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Hand a request on."""
        await self.app(scope, receive, send)


STAGE = Stage()


@schemathesis.serializer(*UPLOADS)
def as_it_is(_: Any, value: Any) -> bytes:
    """Send a file as the bytes it is, whatever was made for it."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "replace")


@pytest.fixture(scope="module")
def app(migrated: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Litestar]:
    """Give the service over a database that holds the description's examples."""
    file = tmp_path_factory.mktemp("generated") / "fitsvc.db"
    shutil.copy(migrated, file)
    database = Database(f"sqlite:///{file}")
    suppliers = file.parent / "audits" / SUPPLIERS
    suppliers.mkdir(parents=True)
    (suppliers / f"{BODIES['NewSchedule']['supplier']}.yaml").write_text("columns: {}\n")
    settings = Settings(nightly=Nightly(str(file.parent)))
    made = create_app(database, answerer(), file.parent / "audits", settings=settings)
    with database.session() as session:
        made.state["key"] = {"X-API-Key": create_key(session, "generated")[0]}
    STAGE.app = made
    restore(made)
    yield made
    database.close()


def restore(app: Litestar, made: str = "") -> None:
    """Delete what was made, and store the examples that are not stored, so that each request finds the same."""

    async def send() -> None:
        transport = httpx.ASGITransport(app=app)  # type: ignore[arg-type]  # httpx names its own type of application
        async with httpx.AsyncClient(transport=transport, base_url="http://testserver") as client:
            if made:
                await client.delete(made, headers=app.state["key"] | {"If-Match": "*"})
            for name, path in PATHS.items():
                response = await client.post(f"/v1/{path}", json=BODIES[name], headers=app.state["key"])
                assert response.status_code in (201, 409)

    asyncio.run(send())


def told() -> dict[str, Any]:
    """Give the service's own description."""
    document: dict[str, Any] = msgspec.json.decode(service_in(created()).description.body)
    return document


def teach_keys(document: dict[str, Any]) -> None:
    """Let a description name what is stored, so that requests about one thing often find it."""
    for path, operations in document["paths"].items():
        for operation in operations.values():
            for parameter in operation["parameters"]:
                if parameter["name"] == "name" and path.startswith("/v1/audits/"):
                    parameter["schema"]["enum"] = ["pairs", "claims", "none"]
                elif parameter["in"] == "path" and path.startswith("/v1/"):
                    family = "audit" if "/audits/" in path else operation["operationId"].partition("_")[2]
                    parameter["schema"]["enum"] = [STORED.get(family) or "number-of-bikes/accessory.bikes_max", "none"]
                elif parameter["name"] == "If-Match":
                    parameter["schema"] = {"anyOf": [{"enum": ["*", '"1-0"']}, parameter["schema"]]}
    for told in document["components"]["schemas"]["NewObservation"]["oneOf"]:
        properties = told["properties"]
        properties["record"]["enum"] = [STORED[properties["subject"]["const"]], "none"]


def teach_facts(document: dict[str, Any], vocabulary: Vocabulary) -> None:
    """Give each fact in a description a string format of its own, and register what such strings are."""
    schemas = document["components"]["schemas"]
    for part in list(schemas.values()):
        for name, shown in part.get("properties", {}).items():
            if isinstance(shown, dict) and "x-fact" in shown:
                fact = vocabulary.facts[shown["x-fact"]]
                general = schemas[shown["$ref"].rpartition("/")[2]]
                part["properties"][name] = _taught(deepcopy(general), fact) | {"x-range": fact.range}
                if fact.range:
                    schemathesis.openapi.format(f"fitsvc-{fact.name}", figures(fact))
    schemathesis.openapi.format("fitsvc-tyre", st.sampled_from(TYRES))


def _taught(schema: Any, fact: Fact) -> Any:
    """Return a schema whose figures are the fact's own."""
    if isinstance(schema, list):
        return [_taught(one, fact) for one in schema]
    if not isinstance(schema, dict):
        return schema
    taught = {name: _taught(value, fact) for name, value in schema.items()}
    if str(schema.get("format", "")).startswith("fitsvc-") and fact.range:
        taught["format"] = f"fitsvc-{fact.name}"
    return taught


def figures(fact: Fact) -> st.SearchStrategy[str]:
    """Give figures that a fact may have, in eighths of the unit it is shown in, or in a unit of another country."""
    assert fact.range is not None
    assert isinstance(fact.type, NumberType)
    low, high = fact.range
    if fact.kind == "count":
        return st.integers(int(low), int(high)).map(str)
    spellings = [unit for unit, (of, _) in UNITS.items() if of == fact.type.dimension]
    return st.sampled_from(spellings).flatmap(lambda unit: _in_unit(low, high, unit))


def _in_unit(low: float, high: float, unit: str) -> st.SearchStrategy[str]:
    size = UNITS[unit][1] / 8
    ends = int(Fraction(low) / size) + (low < 0), int(Fraction(high) / size) - 1
    if ends[0] > ends[1]:
        return st.just(f"{float(Fraction(low + high) / 2 / size / 8):.6f} {unit}")
    return st.integers(*ends).map(lambda eighths: f"{_mixed(eighths)} {unit}")


def _mixed(eighths: int) -> str:
    whole, rest = divmod(abs(eighths), 8)
    sign = "-" if eighths < 0 else ""
    return f"{sign}{whole}-{rest}/8" if rest and whole else f"{sign}{rest}/8" if rest else f"{sign}{whole}"


def teach_sense(document: dict[str, Any]) -> None:
    """Narrow a description's questions to those that make sense: about something stored or nothing, one bound."""
    schemas = document["components"]["schemas"]
    for name, key in (("Vehicle", "id"), ("Receiver", "id"), ("Mounting", "id"), ("Accessory", "sku")):
        schemas[f"{name}Part"]["properties"][key] = {"const": STORED[name.lower()]}
    for name in ("Adapter", "Ball", "Trailer"):
        del schemas[f"{name}Part"]["properties"]["sku"]
    schemas["Rig"]["properties"]["id"] = {"const": STORED["rig"]}
    schemas["Question"]["properties"]["accessory"] = {"$ref": "#/components/schemas/AccessoryPart"}
    schemas["Question"]["required"] = ["accessory"]
    for part in schemas.values():
        for shown in part.get("properties", {}).values():
            plausible(shown)
            for form in shown.get("anyOf", ()) if isinstance(shown, dict) else ():
                if "at_least" in form.get("properties", {}):
                    form["maxProperties"] = 1


def plausible(schema: Any) -> None:
    """Keep a fact's whole numbers within its range, and drop the examples that hold for any fact of its kind."""
    if not isinstance(schema, dict) or not schema.get("x-range"):
        return
    below = [schema]
    while below:
        one = below.pop()
        one.pop("examples", None)
        if one.get("type") == "integer":
            one |= {"minimum": int(schema["x-range"][0]), "maximum": int(schema["x-range"][1])}
        below += [*one.get("anyOf", ()), *one.get("properties", {}).values()]


def teach_files(document: dict[str, Any]) -> None:
    """Let files be texts of some length, also where the description says that they are bytes."""
    for path, operations in document["paths"].items():
        if "/files/" in path:
            for content in operations["put"]["requestBody"]["content"].values():
                content["schema"] = {"type": "string", "minLength": 1}


@cache
def described_once(*, files: bool = False) -> schemathesis.BaseSchema:
    """The same, made once."""
    return described(files=files)


@cache
def created() -> Litestar:
    """Give an application to describe: no database is asked for that."""
    return create_app(Database("sqlite:///unused.db"), answerer())


def described(*, sensible: bool = False, files: bool = False) -> schemathesis.BaseSchema:
    """Give the service's description with a format for each fact, so that figures are plausible ones.

    With `files`, the operations that take files are only sent files: whatever bytes come are one.
    """
    document = told()
    teach_facts(document, answerer().rulebook.vocabulary)
    teach_keys(document)
    # The description's own examples are sent by other tests; gathering them anew takes half of the time here.
    phases = {"coverage": {"enabled": NIGHTLY and not sensible}, "examples": {"enabled": NIGHTLY}}
    # Hypothesis mixes in what it finds in the service's source wherever it draws texts and numbers. The tool would mix
    # it in again fact by fact, with a validator for each, which took two thirds of the time here.
    constants = {"constants": {"enabled": NIGHTLY}}
    settings: dict[str, Any] = {"checks": CHECKS, "phases": phases, "analysis": constants}
    if sensible:
        teach_sense(document)
    if files:
        teach_files(document)
    if sensible or files:
        settings["generation"] = {"mode": "positive"}
    schema = schemathesis.openapi.from_dict(document, config=schemathesis.Config.from_dict(settings))
    schema.app = STAGE
    return schema.include(operation_id="answer") if sensible else schema


effort = settings(
    max_examples=EXAMPLES,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)


def validate(case: "schemathesis.Case[Any]", response: Any, **headers: Any) -> None:
    """Check a reply; a well-formed request may be refused for what no schema can say."""
    asked, passed = response.request, list[Any]()
    if response.status_code in (400, 412, 422, 428):
        place = unquote(urlsplit(asked.url).path)
        if unsaid(response.status_code, response.json(), asked.method, place, asked.headers, asked.body):
            passed = [positive_data_acceptance]
    case.validate_response(response, excluded_checks=passed, **headers)


def operations(*, files: bool) -> list[str]:
    """The ids of the operations that take files, or of all the others.

    A catalogue is in neither, as its rows are read at once, and no schema tells what a row may be.
    """
    ids = [operation["operationId"] for path in told()["paths"].values() for operation in path.values()]
    return [one for one in ids if one.startswith("send_") == files and one != "load_catalogue"]


def carry_out(schema: schemathesis.BaseSchema, check: Callable[..., None], app: Litestar) -> None:
    """Make the requests of a description's one operation, and check each."""
    (made,) = get_all_tests(schema=schema, test_func=effort(check), settings=None, given_kwargs=None)
    assert isinstance(made, Ok)
    made.ok()[1](app=app)


# One operation a test, which makes its requests itself: made where the tests are found, all of them would be made by
# every process that runs some of them.


@pytest.mark.parametrize("operation", operations(files=False))
def test_every_request_is_answered_as_described(operation: str, app: Litestar) -> None:
    """Well-formed requests are taken, others refused, and every response is one the description names."""

    def check(case: "schemathesis.Case[Any]", app: Litestar) -> None:
        response = case.call(headers=app.state["key"])
        if response.status_code in (201, 204):
            restore(app, *response.headers.get("location", []))
        validate(case, response, headers=app.state["key"])

    carry_out(described_once().include(operation_id=operation), check, app)


@pytest.mark.parametrize("operation", operations(files=True))
def test_every_file_is_taken_as_described(operation: str, app: Litestar) -> None:
    """Whatever a file holds, it is taken, and every response is one the description names."""

    def check(case: "schemathesis.Case[Any]", app: Litestar) -> None:
        validate(case, case.call(headers=app.state["key"]), headers=app.state["key"])

    carry_out(described_once(files=True).include(operation_id=operation), check, app)


def test_questions_that_make_sense_are_answered(app: Litestar) -> None:
    """Plausible figures about what is stored are answered as described, most of them with an answer.

    The rest say what cannot be, as two figures that do not go together.
    """
    asked: Counter[int] = Counter()
    sensible = described(sensible=True)

    @given(case=sensible["/v1/answers"]["POST"].as_strategy(generation_mode=GenerationMode.POSITIVE))
    @effort
    def ask(case: "schemathesis.Case[Any]") -> None:
        response = case.call()
        asked[response.status_code] += 1
        validate(case, response)

    ask()
    assert asked[200] >= 0.5 * asked.total() >= 0.5 * EXAMPLES / 2, asked
