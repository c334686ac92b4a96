"""What is kept of a part of an audit, one block of items with one group of rigs, beside its pairs."""

from typing import Any, NamedTuple

from numpy.typing import NDArray

Array = NDArray[Any]


class PartCounts(NamedTuple):
    """What is counted over one block of items with one group of rigs.

    `by_rig`, `by_item` and `claimed` (by item, of the pairs claimed) are counts of pairs by outcome, and `by_rule` is
    that of the pairs that each rule or need decides; `fits` counts by rig and kind. `waits_of_rig` and `waits_of_item`
    count by fact the pairs that wait for it alone, and `decided` those of them that are claimed; `held_by_item` counts
    those that wait for it alone or with others, of the kind and of what could not be read. `claim_outcomes` is what
    each claim comes to, in the order of the claims.
    """

    by_rig: Array
    fits: Array
    by_rule: Array
    claimed: Array
    by_item: Array
    waits_of_rig: Array
    waits_of_item: Array
    held_by_item: Array
    decided: Array
    claim_outcomes: Array


class ClaimFate(NamedTuple):
    """A rule that a claim contradicts, or that leaves it open, and the one fact that it waits for, if it is one."""

    row: int
    sku: str
    rig: str
    outcome: str
    rule: str
    margin: str
    reason: str
    waits_for: str


class ClaimCarried(NamedTuple):
    """What an item may carry on a rig that it is claimed to fit, where no load is named; figures as they are told.

    `at_most` is all of it together, at most `times` of at most `each` where it is counted. `whole` is yes where it is
    all that its own label allows; `unknown` are the facts that may make it less, parted by blanks.
    """

    row: int
    sku: str
    rig: str
    outcome: str
    at_most: str
    times: str
    each: str
    by_label: str
    whole: str
    unknown: str
    told: str
