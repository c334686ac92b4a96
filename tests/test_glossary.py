"""The glossary of DEVELOPERS.md speaks of what is there: classes, keys of rule files, fields of the API."""

from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import TestClient

from fitsvc.document import Json
from fitsvc.paths import data_dir
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain

DEVELOPERS = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text("utf-8")


def rows() -> list[list[str]]:
    """The glossary's rows: word, meaning, class, YAML key, JSON field."""
    table = DEVELOPERS.partition("| word | means |")[2].partition("\n\n")[0].splitlines()[2:]
    return [[cell.strip().strip("`") for cell in line.split("|")[1:-1]] for line in table]


def keys_of(plain: Json) -> Iterator[str]:
    """Every key of a document, however deep."""
    if isinstance(plain, dict):
        for key, value in plain.items():
            yield key
            yield from keys_of(value)
    elif isinstance(plain, list):
        for one in plain:
            yield from keys_of(one)


@cache
def yaml_keys() -> frozenset[str]:
    """The keys that stand in the shipped rule files."""
    files = data_dir("rules").rglob("*.yaml")
    return frozenset(key for file in files for key in keys_of(to_plain(read_yaml_file(file))))


def column(number: int) -> list[str]:
    """What stands in one column, where anything does."""
    return [row[number] for row in rows() if row[number]]


def test_the_glossary_is_read() -> None:
    """There are words, each once, and every row has all columns."""
    words = [row[0] for row in rows()]
    assert len(words) == len(set(words)) > 20
    assert {len(row) for row in rows()} == {5}


@pytest.mark.parametrize("name", column(2))
def test_a_class_is_there(name: str) -> None:
    """The class stands in the module that is named."""
    module, _, short = name.rpartition(".")
    assert hasattr(import_module(f"fitsvc.{module}"), short)


@pytest.mark.parametrize("key", column(3))
def test_a_key_stands_in_the_rules(key: str) -> None:
    """The key is one of the shipped rule files'."""
    assert key in yaml_keys()


def test_fields_stand_in_the_description(client: TestClient[Any]) -> None:
    """The field is a property of something in the API's description."""
    described = client.get("/openapi.json").json()["components"]["schemas"]
    properties = {name for entry in _objects(described) for name in entry.get("properties", {})}
    assert set(column(4)) <= properties


def _objects(described: Any) -> Iterator[dict[str, Any]]:
    if isinstance(described, dict):
        yield described
        for one in described.values():
            yield from _objects(one)
    elif isinstance(described, list):
        for one in described:
            yield from _objects(one)
