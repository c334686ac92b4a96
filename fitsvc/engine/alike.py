"""What of two rulebooks can come to another result, so that no more of them has to be asked of both."""

from fitsvc.rulebook.rules import Rule, Rulebook


def on_one_ground(old: Rulebook, new: Rulebook) -> bool:
    """Whether both read facts alike and work out alike what rules rest on: one that both have then comes to the same.

    What is wrong with a fact is then told by both alike, too.
    """
    return all(
        getattr(old, what) == getattr(new, what) for what in ("vocabulary", "named", "tables", "derived", "opening")
    )


def rules_apart(old: Rulebook, new: Rulebook) -> list[tuple[int | None, int | None]] | None:
    """The rules that can come to something else, by their numbers in both; None stands for that it has no such rule.

    None in place of them all where what rules rest on differs, or their order, or a need.
    """
    kept = {rule.id for rule in old.rules} & {rule.id for rule in new.rules}
    orders = [[rule.id for rule in book.rules if rule.id in kept] for book in (old, new)]
    if not on_one_ground(old, new) or old.needs != new.needs or orders[0] != orders[1]:
        return None
    before, after = ({rule.id: (number, rule) for number, rule in enumerate(book.rules)} for book in (old, new))
    found = [(before.get(id), after.get(id)) for id in {**before, **after}]
    return [(_number(one), _number(other)) for one, other in found if _rule(one) != _rule(other)]


def _number(found: tuple[int, Rule] | None) -> int | None:
    return None if found is None else found[0]


def _rule(found: tuple[int, Rule] | None) -> Rule | None:
    return None if found is None else found[1]
