"""The JSON Schemas of rule files take every file that the loader takes, and refuse what it refuses of their form."""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from conformance.run import FOLDER
from jsonschema_rs import Draft7Validator

from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.folder import rule_files, yaml_files
from fitsvc.rulebook.json_schema import FILES, kind_of, schemas
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain

OWN, SHIPPED = FOLDER / "rules", data_dir("rules")
SIGNED = {"signed": [{"since": "0270e222374416e0", "rules": ["shank-fits-opening"], "by": "n", "because": "w"}]}
CHANGE = {"of": "shank-fits-opening", "severity": "caution", "if_unknown": None, "because": "w", "loosens": "yes"}
NOT_YET = {"signed.yaml": SIGNED, "overlay.yaml": {"name": "n", "changes": [CHANGE]}}
"""Files that the shipped folder does not have."""


@cache
def validators(folder: Path) -> dict[str, Draft7Validator]:
    """The schema of each kind of file, of a folder's names."""
    return {kind: Draft7Validator(one) for kind, one in schemas(load_rulebook(folder)).items()}


@cache
def plain(folder: Path) -> dict[str, Any]:
    """What each file of a folder says, by its path there."""
    found = {path.relative_to(folder).as_posix(): to_plain(read_yaml_file(path)) for path in yaml_files(folder)}
    return {**found, **(NOT_YET if folder == SHIPPED else {})}


def refused(folder: Path, file: str, document: Any) -> bool:
    """Whether the schema of a file refuses what it says."""
    return not validators(folder)[kind_of(file)].is_valid(document)


@pytest.mark.parametrize("folder", [OWN, SHIPPED], ids=["own", "shipped"])
def test_every_file_is_taken(folder: Path) -> None:
    """Each file that the loader takes, by the schema of its kind; and of each kind there is one."""
    assert [file for file, said in plain(folder).items() if refused(folder, file, said)] == []
    assert folder == OWN or {kind_of(file) for file in plain(folder)} == FILES.keys()


@pytest.mark.parametrize("wrong", [{"severiti": "caution"}, {"id": "other"}, {"severity": "mild"}])
def test_a_change_of_what_there_is_not_is_refused(wrong: dict[str, str]) -> None:
    """By the schema of an overlay: a key misspelt, one that nothing can change, a word that is none."""
    assert refused(SHIPPED, "overlay.yaml", {"name": "n", "changes": [{**CHANGE, **wrong}]})


def places(node: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where a key stands, anywhere in what a file says."""
    if isinstance(node, dict):
        for key, below in node.items():
            yield (*place, key)
            yield from places(below, (*place, key))
    elif isinstance(node, list):
        for number, below in enumerate(node):
            yield from places(below, (*place, number))


FREE = ("facts", "lists", "members", "roles", "rows", "hazards", "bare", "each")
"""Under these keys stand names of the author's own, of which one is as good as another."""


def shape_of(place: tuple[Any, ...]) -> Iterator[str]:
    """A place without numbers, and with a star for a name of the author's own."""
    steps = [step for step in place if not isinstance(step, int)]
    yield from (
        "*" if "." in step or before in FREE else step for before, step in zip(["", *steps], steps, strict=False)
    )


def misspelt(said: Any, place: tuple[Any, ...]) -> Any:
    """What a file says with one key misspelt."""
    copied = json.loads(json.dumps(said))
    node = copied
    for step in place[:-1]:
        node = node[step]
    node[place[-1] + "x"] = node.pop(place[-1])
    return copied


def of_form(problem: str) -> bool:
    """Whether a problem is one of form, which a schema tells as well."""
    return "has no key" in problem or " lacks `" in problem


def test_a_misspelt_key_is_refused_where_the_loader_refuses_it() -> None:
    """Of a small folder, each sort of key by itself: one is an error of form to both, or to neither."""
    read, disagree = {path.relative_to(OWN).as_posix(): path for path in rule_files(OWN)}, []
    shapes = set[tuple[Any, ...]]()
    for file, path in read.items():
        for place in places(plain(OWN)[file]):
            shape = (kind_of(file), *shape_of(place))
            if shape in shapes:
                continue
            shapes.add(shape)
            said = misspelt(plain(OWN)[file], place)
            told = problems(OWN, {path: json.dumps(said).encode()})
            if any(map(of_form, told)) and not refused(OWN, file, said):
                disagree.append((file, place, told))
            if refused(OWN, file, said) and not told:
                disagree.append((file, place, ["taken"]))
    assert (disagree, len(shapes) > 80) == ([], True)


def problems(folder: Path, contents: dict[Path, bytes]) -> list[str]:
    """What the loader says of a folder in which some files say something else."""
    try:
        load_rulebook(folder, contents)
    except ProblemsFound as found:
        return [str(problem) for problem in found.problems]
    return []


BROKEN: dict[str, tuple[tuple[Any, ...], Any]] = {
    "rulebook.yaml": (("cautions", 0, "assumed"), "perhaps"),
    "adapters.yaml": (("adapters", "facts", "reach", "type"), "lenght"),
    "drawing.yaml": (("bodies", "suv", "nose"), ["far"]),
    "hazards.yaml": (("weights", 0), "accessory.wieght"),
    "sources.yaml": (("sources", "nc-20-124", "seen"), "heard"),
    "words.yaml": (("told_apart", 0, "fact"), "vehicle.nothing"),
    "vocabulary/lists.yaml": (("tolerances", "tape", "lenght"), "1 in"),
    "vocabulary/accessory.yaml": (("facts", "weight", "effort"), "hard"),
    "tables/coupling.yaml": (("tables", 0, "gives"), "wieght"),
    "road.yaml": (("rules", 0, "severity"), "bloking"),
    "bikes.yaml": (("rules", 0, "examples", 0, "accessory.knid"), "step"),
    "fitting.yaml": (("needs", 0, "goes_with"), ["no-such-rule"]),
}
"""Of each kind of file, what cannot stand somewhere."""


def test_what_cannot_stand_somewhere_is_refused() -> None:
    """A word, a name or a part that is none, one in each file of all kinds: by the schema, and by the loader."""
    changed: dict[Path, bytes] = {}
    for file, (place, wrong) in BROKEN.items():
        said = json.loads(json.dumps(plain(SHIPPED)[file]))
        node = said
        for step in place[:-1]:
            node = node[step]
        node[place[-1]] = wrong
        assert refused(SHIPPED, file, said), file
        changed[SHIPPED / file] = json.dumps(said).encode()
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(SHIPPED, changed)
    told = {problem.file.removeprefix("rules/") for problem in found.value.problems}
    assert BROKEN.keys() - told <= {"bikes.yaml"}, "an example's facts are looked at when it is read"
    assert refused(SHIPPED, "signed.yaml", {"signed": [{"since": "0"}]})
    assert refused(SHIPPED, "words/es.yaml", {"textos": {}})


def test_the_command_writes_all_and_says_whose_each_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One kind is printed; all go into a folder, with the settings by which an editor finds them."""
    assert main(["rules", "schema", "topic", "--rules", str(OWN)]) == 0
    assert json.loads(capsys.readouterr().out) == schemas(load_rulebook(OWN))["topic"]
    assert main(["rules", "schema", "--rules", str(OWN), "--to", str(tmp_path)]) == 0
    told = json.loads(capsys.readouterr().out)["yaml.schemas"]
    assert told[f"{tmp_path.as_posix()}/topic.schema.json"] == ["rules/every.yaml"]
    assert {path.stem.partition(".")[0] for path in tmp_path.iterdir()} == FILES.keys()
    assert main(["rules", "schema", "topics"]) == 2
    assert "did you mean `topic`?" in capsys.readouterr().err
