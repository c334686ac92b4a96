"""What plans, pages and questions of several things take from a rulebook.

It is refused where it names what is not there, and used under any name.
"""

from pathlib import Path

import pytest
from changed_rules import changed
from judging import answerer

from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import digest_of

PIN = "fills: {accessory: only_pin, gives: receiver.pin_supplied}"


@pytest.mark.parametrize(
    ("file", "old", "new", "message", "help"),
    [
        ("coupling.yaml", "fills: ball", "fills: bal", "`bal` is no subject that fills a need", "did you mean `ball`?"),
        ("coupling.yaml", "fills: ball", "fills: vehicle", "`vehicle` is no subject that fills", "`{accessory: ROLE,"),
        ("coupling.yaml", PIN, PIN.replace("only_pin", "only_pim"), "`only_pim` is not a role of an accessory",
         "did you mean `only_pin`?"),
        ("coupling.yaml", PIN, PIN.replace("receiver.pin_supplied", "receiver.pin_suplied"),
         "`receiver.pin_suplied` is no yes or no of the rig", "did you mean `receiver.pin_supplied`?"),
        ("coupling.yaml", PIN, PIN.replace("receiver.pin_supplied", "accessory.pin_supplied"),
         "no yes or no of the rig", ""),
        ("coupling.yaml", PIN, "fills: {accessory: only_pin}", "`fills` lacks `gives`", ""),
        ("coupling.yaml", "fills: ball", PIN, "another accessory fills `hitch-pin` already", "leave `fills` out"),
        ("rulebook.yaml", "when: present(load.bikes)", "when: present(load.bykes)", "load.bykes", "load.bikes"),
        ("rulebook.yaml", "    served_by: kind.takes_bikes\n", "", "a wish lacks `served_by`", ""),
        ("rulebook.yaml", "  trailer: kind.tows", "  trailor: kind.tows", "`trailor` is no subject",
         "did you mean `trailer`?"),
        ("rulebook.yaml", "  trailer: kind.tows", "  vehicle: kind.tows", "`vehicle` is no subject that", ""),
        ("rulebook.yaml", "  weight: {from: hung.on_opening", "  weigt: {from: hung.on_opening",
         "`weigt` is not a fact of `beside`", "did you mean `weight`?"),
        ("rulebook.yaml", "  weight: {from: hung.on_opening, on: receiver, by: sum}\n", "",
         "nothing makes `weight` of `beside`", "say under `beside` what each thing adds"),
        ("rulebook.yaml", "{from: hung.on_opening, on: receiver, by: sum}", "{from: hung.tows, on: receiver, by: sum}",
         "`weight` is not made so: this is a yes/no", "numbers are summed"),
        ("rulebook.yaml", "{from: hung.tows, on: rig, by: any}", "{from: hung.tows, on: rig, by: sum}",
         "`tows` is not made so", "a yes or no holds for any"),
        ("rulebook.yaml", "on: receiver, by: sum", "on: roof, by: sum", "`roof` is not a place where things count",
         "`receiver`"),
        ("rulebook.yaml", "{from: hung.on_opening,", "{from: together.on_receiver,",
         "`weight` is made of `beside.weight`, which others make", "may read `beside.hangs_on` alone"),
        ("capacity.yaml", "    asks: no", "    asks: never", "`never` is not yes or no", ""),
        ("fitting.yaml", "work: yes", "work: true", "`true` is not yes or no", ""),
        ("fitting.yaml", "goes_with: [fitting]", "goes_with: [fiting]",
         "`drilling` goes with `fiting`, and there is no such rule or need", "did you mean `fitting`?"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_in_place(tmp_path: Path, file: str, old: str, new: str, message: str, help: str) -> None:
    """A subject, role, fact or need that is none is an error with file and line, and says what is expected."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(changed(tmp_path, file, old, new))
    problem = found.value.problems[0]
    assert problem.file == f"rules/{file}"
    assert problem.line > 0
    assert message in problem.message
    assert help in problem.help


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("coupling.yaml", "    fills: ball\n", ""),
        ("rulebook.yaml", "served_by: kind.takes_bikes", "served_by: kind.carries"),
        ("rulebook.yaml", "trailer: kind.tows", "trailer: kind.carries"),
        ("vocabulary/lists.yaml", "ski carrier, is: [carries, ", "ski carrier, is: [carries, takes_bikes, "),
        ("drawing.yaml", "folds: kind.carries and not kind.encloses", "folds: kind.carries"),
    ],
)
def test_the_digest_is_of_all_that_plans_answers_and_drawings_take(
    tmp_path: Path, file: str, old: str, new: str
) -> None:
    """What is declared beside the rules is part of what a rulebook means."""
    assert digest_of(changed(tmp_path, file, old, new)) != answerer().rulebook.digest


def test_the_digest_leaves_out_how_an_expression_is_spaced(tmp_path: Path) -> None:
    """Expressions that are declared beside the rules are told apart by what they say."""
    rules = changed(tmp_path, "drawing.yaml", "folds: kind.carries and not", "folds: kind.carries   and not")
    assert digest_of(rules) == answerer().rulebook.digest
