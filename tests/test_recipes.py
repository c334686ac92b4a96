"""How to add something: every recipe of DEVELOPERS.md is carried out, and every step that is left out is missed."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from recipes import RECIPES, Recipe, Step, copy_tree, restore, run, together

LEFT_OUT = [(recipe, step) for recipe in RECIPES for step in recipe.steps]


def name_of(one: Recipe | Step) -> str:
    """What a case is called."""
    return one.name if isinstance(one, Recipe) else str(next(r for r in RECIPES if one in r.steps).steps.index(one) + 1)


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a copy of the tree; what is compiled of it serves every case."""
    return copy_tree(tmp_path_factory.mktemp("tree"))


@pytest.fixture
def tree(copied: Path) -> Iterator[Path]:
    """Give the copy as the tree is."""
    yield copied
    restore(copied)


@pytest.mark.parametrize(("recipe", "step"), LEFT_OUT, ids=name_of)
def test_a_step_left_out_is_missed(recipe: Recipe, step: Step, tree: Path) -> None:
    """All steps but one are done: the command that the step names ends with faults, and says what is missing."""
    recipe.begin(tree)
    for one in recipe.steps:
        if one is not step:
            one.do(tree)
    done = run(step.command, tree)
    assert done.returncode != 0, done.stdout
    assert step.says in " ".join(done.stdout.split()), done.stdout


@pytest.mark.parametrize("recipe", RECIPES, ids=name_of)
def test_with_all_its_steps_nothing_complains(recipe: Recipe, tree: Path) -> None:
    """All steps are done: no command that a step names has anything to say, nor has what holds the rest."""
    recipe.begin(tree)
    for step in recipe.steps:
        step.do(tree)
    for command in together([*(step.command for step in recipe.steps), *recipe.held_by]):
        done = run(command, tree)
        assert done.returncode == 0, f"{command}\n{done.stdout}"
