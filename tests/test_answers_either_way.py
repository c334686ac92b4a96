"""An answer that is no either way, wherever it is told: in the answer, at the counter, in a selection, in an audit."""

from io import StringIO
from typing import Any

import numpy as np
from judging import answer, answerer, case
from litestar import Litestar
from litestar.testing import TestClient
from random_rulebooks import shipped_rulebook
from test_engine_choices import SPRING_BARS
from test_engine_columns import rest, split

from fitsvc.answers.shelf import Item
from fitsvc.audits.blocks import Kernel, decided_by
from fitsvc.audits.items import Items
from fitsvc.audits.rigs import AuditRig
from fitsvc.cli.answer_view import show_answer
from fitsvc.cli.console import Console
from fitsvc.engine.columns.signatures import column_of
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import Snapshot
from fitsvc.selection.selector import Selector
from fitsvc.service.counter.links import link, write_fields

RULES = ["weight-distribution-allowed", "trailer-weight/towing.opening_trailer_rating"]
ACCESSORY = frozenset({"accessory"})
CARGO = {
    "accessory.shank": "2 in",
    "accessory.weight": "100 lb",
    "load.cargo_weight": "600 lb",
    "receiver.opening": "2 in",
    "receiver.tongue_rating": "100 lb",
    "vehicle.tongue_rating": "100 lb",
}
"""Too much for the receiver on what carries cargo, and nothing else carries any."""


def test_members_that_one_rule_refuses_are_told_together() -> None:
    """Of a list a case is a rule, with all the members with which it is the first to fail; the last is any other."""
    told = answer(CARGO)
    assert told.outcome == "fails" and told.either_way is not None and told.next == []
    assert told.summary.startswith("No, whatever the kind of accessory is. If the kind of accessory is ")
    cases = {one.rule: one for one in told.either_way.cases}
    assert len(cases) == len(told.either_way.cases)
    heavy = cases["hanging-weight/opening.tongue_rating"]
    assert {"cargo_carrier", "enclosed_carrier"} <= {*heavy.members}
    assert "cargo carrier or " in heavy.reason and heavy.reason.endswith("600 lb too much.")
    last = told.either_way.cases[-1]
    assert last.rule == "load-is-borne" and last.reason.startswith("If the kind of accessory is any other, ")
    members = [member for one in told.either_way.cases for member in one.members]
    assert sorted(members) == sorted(answerer().rulebook.vocabulary.lists["accessory_kind"].members)


def test_the_rules_of_the_cases_are_told_first() -> None:
    """Among the findings they come first, undetermined as they are one by one."""
    told = answer(SPRING_BARS)
    assert {one.rule for one in told.findings[:2]} == {*RULES}
    assert {one.result for one in told.findings[:2]} == {"undetermined"}


def test_the_console_and_the_page_tell_the_cases(client: TestClient[Litestar]) -> None:
    """Both say why with each value; the page has no step to take."""
    told, stream = answer(SPRING_BARS), StringIO()
    assert told.either_way is not None
    show_answer(Console(stream), told, answerer())
    printed = " ".join(stream.getvalue().split())
    page = client.get(link("/answer", write_fields(_document())))
    assert page.status_code == 200
    for one in told.either_way.cases:
        assert one.reason in printed
        assert one.reason.replace("'", "&#39;") in page.text
    assert 'id="next"' not in page.text


def test_a_selection_tells_the_cases() -> None:
    """The item fails by the rules of the cases, with the same words as its answer."""
    told, one = answer(SPRING_BARS), case(SPRING_BARS)
    item = Item("accessory", "HEAD", "a head", dict(split(shipped_rulebook(), one, ACCESSORY)[0]), {})
    held = Snapshot(revision="", parts=(), loose=(item,), unreadable=0)
    page = Selector(answerer()).select(held, rest(one, ACCESSORY), SelectionQuery(question={}))
    (found,) = page.items
    assert (found.outcome, found.reason, found.either_way) == ("fails", told.summary, told.either_way)
    assert {*found.codes} == {*RULES} and page.counts.outcomes.fails == 1


def test_an_audit_puts_the_pair_down_to_the_rules_of_the_cases() -> None:
    """Its pair fails, by each rule that fails in some case."""
    kernel, one = Kernel(answerer().rulebook), case(SPRING_BARS)
    columns = {
        name: column_of(kernel.slots[name], [value])
        for name, value in split(shipped_rulebook(), one, ACCESSORY)[0].items()
    }
    block = kernel.block(Items(["A"], np.ones(1, np.int64), columns, {}, {}))
    ((_, found),) = block.judge([AuditRig("rig", "", rest(one, ACCESSORY))])
    assert OUTCOMES[np.asarray(found.outcome)[0]] == "fails"
    assert {*decided_by(kernel.names, found, 0)} == {*RULES}


def _document() -> dict[str, Any]:
    document: dict[str, Any] = {"rig": {}}
    for name, wire in SPRING_BARS.items():
        subject, short = name.split(".")
        place = document["rig"] if subject == "receiver" else document
        place.setdefault(subject, {"facts": {}})["facts"][short] = wire
    return document
