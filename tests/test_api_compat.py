"""The API keeps what the last release promised, and what would break a caller is noticed."""

import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from api_compat import KEPT, breaks, described, kept


def test_nothing_of_the_last_release_is_broken() -> None:
    """Paths, parameters, replies and schemas of the description that is kept are there, and ask for no more."""
    assert breaks(json.loads(KEPT.read_text("utf-8")), kept(described())) == []


def _drop_path(now: Any) -> None:
    del now["paths"]["/v1/plans"]


def _need_a_parameter(now: Any) -> None:
    now["paths"]["/v1/vehicles"]["get"]["parameters"][0]["required"] = True


def _drop_a_parameter(now: Any) -> None:
    now["paths"]["/v1/answers"]["post"]["parameters"].pop(0)


def _drop_a_word(now: Any) -> None:
    now["paths"]["/v1/answers"]["post"]["parameters"][0]["schema"]["enum"] = ["us"]


def _drop_a_member(now: Any) -> None:
    del now["schemas"]["Answer"]["properties"]["summary"]


def _need_a_member(now: Any) -> None:
    now["schemas"]["NewRig"]["required"].append("id")


def _leave_out(now: Any) -> None:
    now["schemas"]["Answer"]["required"].remove("outcome")


def _answer_otherwise(now: Any) -> None:
    responses = now["paths"]["/v1/rigs"]["post"]["responses"]
    responses["200"] = responses.pop("201")


@pytest.mark.parametrize(
    "change",
    [
        _drop_path,
        _need_a_parameter,
        _drop_a_parameter,
        _drop_a_word,
        _drop_a_member,
        _need_a_member,
        _leave_out,
        _answer_otherwise,
    ],
)
def test_what_breaks_a_caller_is_noticed(change: Callable[[Any], None]) -> None:
    """Each change that a caller would notice is told, and one that adds is not."""
    old = json.loads(KEPT.read_text("utf-8"))
    new = deepcopy(old)
    new["paths"]["/v1/more"] = old["paths"]["/v1/plans"]
    new["schemas"]["Answer"]["properties"]["more"] = {"type": "string"}
    assert breaks(old, new) == []
    change(new)
    assert len(breaks(old, new)) == 1
