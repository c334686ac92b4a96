"""What is wrong with a request is told in the language of who sent it, whoever finds it: no text is left in English."""

import ast
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import msgspec
import pytest
from litestar import Litestar
from litestar.testing import TestClient
from pseudo import left_in_english, pseudo_tongue
from service_checks import problem
from told_texts import told_texts
from untold import untold

import fitsvc
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import labels_of, texts_of
from fitsvc.service.bodies import FAULTS
from fitsvc.service.speaking import spoken_tongues

Client = TestClient[Litestar]
_HERE: Final = Path(fitsvc.__file__).parent
OPERATORS: Final = frozenset(
    (
        *("fetching", "mailing", "masking", "published", "pulling", "releases", "reporting", "serving", "signatures"),
        *("signing", "workers", "recording", "logs", "settings"),
    )
)
"""What tells whoever runs the service, at its start or in its log, and `gate`, which tells before a language is known:
these stay in English."""
STORE: Final = ("errors", "validation", "records", "rigs", "taking_back", "observations", "creation", "remarks")
"""What of the store is told of a request; all else of it is for whoever runs it."""
ROOMS: Final = ("observing", "selection", "planning")
UPLOADS: Final = ("upload", "handlers", "results")


def _files() -> Iterator[Path]:
    service = _HERE / "service"
    yield from (one for one in sorted(service.glob("*.py")) if one.stem not in OPERATORS | {"gate"})
    yield from (service / "audits" / f"{name}.py" for name in UPLOADS)
    yield from (_HERE / "store" / f"{name}.py" for name in STORE)
    yield from (one for room in ROOMS for one in sorted((_HERE / room).glob("*.py")))


def test_no_text_of_a_problem_is_told_as_it_stands() -> None:
    """Each that is handed to a problem goes through `t()`, and so has words in every language there is."""
    found = [f"{path.name}:{one.lineno} {ast.unparse(one)[:100]}" for path in _files() for one in untold(path)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "code",
    [
        "raise ProblemsFound([Problem('is not a text', 'write it')])",
        "raise problem(415, f'the body is larger than {limit} kB')",
        "def f():\n    message, help = f'there is no {x}', 'name another'\n    return Problem(message, help)",
        "def f(self):\n    super().__init__(f'there is no {x}')",
        "def f():\n    checks.refuse('/at', 'is yet to come' if late else t('is past'))",
        "TOLD = 'it is gone'\ndef f():\n    raise Conflict(TOLD)",
    ],
)
def test_a_text_that_is_forgotten_is_found(code: str, tmp_path: Path) -> None:
    """However it comes to the problem; one that is told, or has no word of its own, is none."""
    file = tmp_path / "one.py"
    file.write_text(code)
    assert list(untold(file))
    file.write_text("def f():\n    raise problem(404, f'{message}; {help}', [Problem(t('is {n}'), parameter='name')])")
    assert not list(untold(file))


@pytest.fixture
def marked(rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch) -> None:
    """A language beside the others that has other letters for every known text, and for nothing else."""
    labels = labels_of(rulebook)
    known = {*told_texts(), *texts_of(rulebook)} - labels
    monkeypatch.setitem(spoken_tongues(None), "qps", pseudo_tongue(known, labels))


ANSWERS: Final = "/v1/answers"
RIG: Final = "/v1/rigs/rig_farm_muckle/accessories"
JSON: Final = {"Content-Type": "application/json"}
REFUSED: Final[dict[str, tuple[str, str, Any, dict[str, str], int]]] = {
    "no JSON": ("POST", ANSWERS, '{"rig": {"receiver": }', JSON, 400),
    "an end too early": ("POST", ANSWERS, '{"rig": ', JSON, 400),
    "more behind it": ("POST", ANSWERS, "{} {}", JSON, 400),
    "a comma behind it": ("POST", ANSWERS, '{"rig": {},}', JSON, 400),
    "a name that is no text": ("POST", ANSWERS, "{1: 2}", JSON, 400),
    "a bad escape": ("POST", ANSWERS, r'{"rig": "\q"}', JSON, 400),
    "one name twice": ("POST", ANSWERS, '{"rig": {}, "rig": {}}', JSON, 400),
    "a figure without end": ("POST", ANSWERS, '{"load": {"facts": {"bikes": 1e999}}}', JSON, 400),
    "half a character": ("POST", ANSWERS, r'{"rig": {"id": "\ud800"}}', JSON, 400),
    "no UTF-8": ("POST", ANSWERS, b'{"rig": "\xe9"}', JSON, 400),
    "nothing": ("POST", ANSWERS, "", JSON, 400),
    "a list": ("POST", ANSWERS, "[]", JSON, 400),
    "another member": ("POST", ANSWERS, '{"rig": {}, "acessory": {}}', JSON, 400),
    "too deep": ("POST", ANSWERS, "[" * 50 + "]" * 50, JSON, 400),
    "too many members": ("POST", ANSWERS, json.dumps({f"x{n}": 1 for n in range(5_001)}), JSON, 400),
    "too large": ("POST", ANSWERS, '{"rig": "' + "a" * 300_000 + '"}', JSON, 413),
    "another type": ("POST", ANSWERS, "{}", {"Content-Type": "text/plain"}, 415),
    "compressed": ("POST", ANSWERS, "{}", {**JSON, "Content-Encoding": "gzip"}, 415),
    "another method": ("PATCH", ANSWERS, "{}", JSON, 405),
    "no such path": ("GET", "/v1/nothing", None, {}, 404),
    "no such record": ("GET", "/v1/rigs/rig_zzz", None, {}, 404),
    "no such accessory": ("GET", "/v1/accessories/ZZZ", None, {}, 404),
    "no such observation": ("GET", "/v1/observations/obs_zzz", None, {}, 404),
    "no such rule": ("GET", "/v1/rules/zzz", None, {}, 404),
    "no such topic": ("GET", "/v1/rules?topic=zzz", None, {}, 404),
    "a page of nothing": ("GET", f"{RIG}?after=zzzz", None, {}, 422),
    "no such pin": ("POST", f"{ANSWERS}?pin=sha256:{'0' * 64}", "{}", JSON, 404),
    "matches of nothing": ("POST", "/v1/matches", '{"rigs": [], "skus": [1]}', JSON, 400),
    "no key": ("POST", "/v1/rigs", "{}", JSON, 401),
    "another key": ("POST", "/v1/rigs", "{}", {**JSON, "X-API-Key": "key_zzz"}, 401),
}
"""What a request may be refused for before anything of it is judged, by method, path, body, headers and status."""


@pytest.mark.usefixtures("marked")
@pytest.mark.parametrize("what", REFUSED)
def test_what_is_wrong_with_a_request_is_told_in_its_language(pages: Client, what: str) -> None:
    """The detail, each error and what to do about it; names and what was sent stay as they are."""
    method, path, body, headers, status = REFUSED[what]
    sent = pages.request(method, path, content=body, headers=headers | {"Accept-Language": "qps"})
    found = problem(sent, status)
    errors = found.get("errors", ())
    told = [found["detail"], *(one[part] for one in errors for part in ("detail", "help") if part in one)]
    names = ["/v1/rules", "/openapi.json", "JSON", "UTF", *(one["pointer"] for one in errors if one.get("pointer"))]
    assert not list(left_in_english(list(map(_bare, told)), names))


def _bare(text: str) -> str:
    """A text without what stands in backquotes."""
    return "".join(part for place, part in enumerate(text.split("`")) if not place % 2)


def test_every_fault_of_json_has_words() -> None:
    """In the words of the library that finds it: of a new one somebody hears in English until it is known here."""
    drawn, found = random.Random(1), set[str]()
    for _ in range(20_000):
        text = list(r'{"rig": {"facts": {"opening": "2 in", "n": [-1.5e3, true, null], "u": "\u00e9"}}}')
        for _ in range(drawn.randint(1, 3)):
            at = drawn.randrange(len(text))
            text[at : at + drawn.randint(0, 1)] = drawn.choice(
                ["{", "}", "[", "]", '"', ",", ":", "\\", "u", "0", "e", " "]
            )
        try:
            msgspec.json.decode("".join(text))
        except msgspec.DecodeError as error:
            found.add(str(error).removeprefix("JSON is malformed: ").partition(" (byte")[0])
    assert len(found) > 8
    assert found <= {*FAULTS, "Input data was truncated"}
