"""YAML files of records: `subject` and `records`, or `rigs`."""

from collections.abc import Iterator
from pathlib import Path

from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.loading.rows import Place, Row, field_of
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence, read_yaml_file, to_plain

_TOP = ("subject", "records", "rigs")
_FORM = "write `subject: ...` and `records:`, or `rigs:`"


def yaml_rows(path: Path, file: str, problems: list[Problem]) -> Iterator[Row]:
    """Yield the records of a YAML file."""
    try:
        tree = read_yaml_file(path, shown_as=file)
    except ProblemsFound as found:
        problems += found.problems
        return
    if not isinstance(tree, Mapping):
        problems.append(tree.problem("a file of records is written as `key: value` lines", _FORM))
        return
    problems += [_unknown_key(tree, key) for key in tree.entries if key not in _TOP]
    subject = tree.entries.get("subject")
    if not {"records", "rigs"} & tree.entries.keys():
        problems.append(tree.problem("the file has no records", _FORM))
    if "records" in tree.entries:
        if not isinstance(subject, Scalar):
            message = "the file does not name its `subject`"
            problems.append((subject or tree).problem(message, "write `subject: accessory`, or another"))
            return
        yield from _rows(tree.entries["records"], "records", {"subject": subject.value}, subject, problems)
    if "rigs" in tree.entries:
        yield from _rows(tree.entries["rigs"], "rigs", {"subject": "rig"}, tree, problems)


def _rows(nodes: Node, name: str, given: Document, subject: Node, problems: list[Problem]) -> Iterator[Row]:
    if not isinstance(nodes, Sequence):
        problems.append(nodes.problem(f"`{name}` is a list", "write each after `- `"))
        return
    for node in nodes.items:
        document = to_plain(node)
        if not isinstance(node, Mapping) or not isinstance(document, dict):
            problems.append(node.problem("a record is written as `key: value` lines", "start it with `- id: ...`"))
        elif "subject" in document:
            problems.append(node.problem_at_key("subject", "the subject stands at the file's top", "remove it here"))
        else:
            yield Row({**given, **document}, _place(node, subject), node.mark.line)


def _place(record: Mapping, subject: Node) -> Place:
    """Problems stand at the deepest node that a pointer reaches."""

    def place(pointer: str, message: str, help: str) -> Problem:
        if pointer == "/subject":
            return subject.problem(message, help)
        problem = record.problem(message, help)
        node: Node = record
        for part in (part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]):
            if isinstance(node, Mapping) and part in node.entries:
                problem, node = node.problem_at_key(part, message, help), node.entries[part]
            elif isinstance(node, Sequence) and part.isdigit() and int(part) < len(node.items):
                node = node.items[int(part)]
                problem = node.problem(message, help)
            else:
                break
        return problem.at(field_of(pointer))

    return place


def _unknown_key(tree: Mapping, key: str) -> Problem:
    near = nearest(key, _TOP)
    help = f"did you mean `{near}`?" if near else _FORM
    return tree.problem_at_key(key, f"a file of records has no key `{key}`", help)
