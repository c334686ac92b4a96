"""What of the API's description would break those who call it as it was: `PYTHONPATH=tests python -m api_compat`.

The description of the last release is kept in `.ci/openapi.json`; run as a program this writes it anew, which is done
when a release is made, and tells what breaks. Facts and their choices are the rulebook's, whose digest tells it apart.
"""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import msgspec
from demo_world import answerer

from fitsvc.service.app import create_app
from fitsvc.service.context import service_in
from fitsvc.store.database import Database

KEPT: Final = Path(__file__).parents[1] / ".ci" / "openapi.json"
_OF_RULEBOOK: Final = ("Facts", "Choice")
Schema = Mapping[str, Any]


def described() -> Any:
    """The description of the service as it is."""
    database = Database("sqlite:///unused.db")
    return msgspec.json.decode(service_in(create_app(database, answerer())).description.body)


def kept(document: Any) -> Any:
    """What of a description is kept: its paths and schemas, without what only people read."""
    left = {"description", "summary", "example", "examples", "tags", "x-range", "x-fact"}

    def stripped(value: Any, named: bool = False) -> Any:
        if isinstance(value, list):
            return [stripped(one) for one in value]
        if not isinstance(value, dict):
            return value
        # Under `properties` and the like stand names, which may be any.
        return {n: stripped(v, n == "properties") for n, v in value.items() if named or n not in left}

    schemas = {n: s for n, s in document["components"]["schemas"].items() if not n.endswith(_OF_RULEBOOK)}
    return {"paths": stripped(document["paths"], True), "schemas": stripped(schemas, True)}


def breaks(old: Any, new: Any) -> list[str]:
    """What of a kept description a newer one no longer keeps."""
    return [*_operations(old, new), *_schemas(old["schemas"], new["schemas"])]


def _operations(old: Any, new: Any) -> Iterator[str]:
    for path, item in old["paths"].items():
        for method, was in item.items():
            now = new["paths"].get(path, {}).get(method)
            where = f"{method.upper()} {path}"
            if now is None:
                yield f"{where} is gone"
                continue
            yield from (f"{where}: {told}" for told in _parameters(was, now))
            done = {status for status in was["responses"] if status < "400"}
            yield from (f"{where}: {status} is answered no more" for status in sorted(done - now["responses"].keys()))
            if now.get("requestBody") and not was.get("requestBody"):
                yield f"{where} needs a body"
            if now["security"] and not was["security"]:
                yield f"{where} needs a key"


def _parameters(was: Any, now: Any) -> Iterator[str]:
    named = [{(one["name"], one["in"]): one for one in operation["parameters"]} for operation in (was, now)]
    for name, one in named[0].items():
        if name not in named[1]:
            yield f"the parameter `{name[0]}` is gone"
            continue
        other = named[1][name]
        gone = set(one["schema"].get("enum", ())) - set(other["schema"].get("enum", one["schema"].get("enum", ())))
        yield from (f"`{name[0]}` takes `{value}` no more" for value in sorted(gone))
        if other["required"] and not one["required"]:
            yield f"the parameter `{name[0]}` is needed"
    yield from (
        f"the parameter `{n[0]}` is needed" for n, one in named[1].items() if n not in named[0] and one["required"]
    )


def _schemas(old: Mapping[str, Schema], new: Mapping[str, Schema]) -> Iterator[str]:
    """What is taken may become more, and what is given too; neither becomes less."""
    for name, was in old.items():
        now = new.get(name)
        if now is None:
            yield f"the schema {name} is gone"
            continue
        gone = was.get("properties", {}).keys() - now.get("properties", {}).keys()
        yield from (f"{name}.{member} is gone" for member in sorted(gone))
        # A body's member that is newly needed breaks who sends it, a reply's that is no longer sure who reads it.
        wanted, sure = set(now.get("required", ())), set(was.get("required", ()))
        if _is_sent(name):
            yield from (f"{name}.{member} is needed" for member in sorted(wanted - sure))
        else:
            yield from (f"{name}.{member} may be left out" for member in sorted(sure - wanted - gone))
        lost = set(map(str, was.get("enum", ()))) - set(map(str, now.get("enum", ())))
        yield from (f"{name} has `{value}` no more" for value in sorted(lost))


def _is_sent(name: str) -> bool:
    return name.startswith("New") or name.endswith(("State", "Question", "Part", "Wishes", "Wish", "Rig", "Thing"))


def main() -> None:
    """Tell what breaks, and write the description anew."""
    now = kept(described())
    if KEPT.exists():
        for told in breaks(json.loads(KEPT.read_text("utf-8")), now):
            print(told)
    KEPT.write_text(json.dumps(now, sort_keys=True, separators=(",", ":")) + "\n", "utf-8")


if __name__ == "__main__":
    main()
