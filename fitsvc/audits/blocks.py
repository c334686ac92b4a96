"""The kernel of an audit: some items and some rigs in, what holds of every pair of them out, as Arrow tables."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from fitsvc.audits.claims import ClaimReader, Claims
from fitsvc.audits.items import Items
from fitsvc.audits.reading import items_of_columns
from fitsvc.audits.rig_results import RigResult, numbers_of
from fitsvc.audits.rigs import AuditRig, rigs_of_table
from fitsvc.engine.columns.kernel import MOST_KEPT, UNREAD, Columns, Judged
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.rulebook.rules import Rulebook

_NONE: Final[Mapping[str, int]] = {}
Codes = NDArray[np.int32]
PAIRS: Final = pa.schema(
    [
        ("rig", pa.dictionary(pa.int32(), pa.string())),
        ("sku", pa.dictionary(pa.int32(), pa.string())),
        ("outcome", pa.dictionary(pa.int8(), pa.string())),
        ("rules", pa.dictionary(pa.int32(), pa.string())),
        ("claimed", pa.bool_()),
        ("rulebook", pa.dictionary(pa.int8(), pa.string())),
    ]
)
"""A row a pair: the rules (and needs) that make its outcome what it is, parted by blanks; `claimed` is null where
nothing is claimed of any pair; the digest of the rulebook."""


class Kernel:
    """A rulebook ready to judge blocks of items against rigs."""

    def __init__(self, rulebook: Rulebook, most_kept: int = MOST_KEPT) -> None:
        self.rulebook, self.engine = rulebook, Point(rulebook)
        self.columns, self.slots = Columns(self.engine, most_kept), rulebook.vocabulary.slots()
        self.names = [*(rule.id for rule in rulebook.rules), *(need.name for need in rulebook.needs)]
        self._lenient: dict[tuple[bool, str], list[tuple[int, np.uint64]]] = {}

    def lenient(self, adapted: bool, subject: str) -> list[tuple[int, np.uint64]]:
        """The blocking rules that only caution where they are open, with the bits of what each asks of an item."""
        key = (adapted, subject)
        if key not in self._lenient:
            found = []
            for number, rule in enumerate(self.rulebook.rules):
                if OUTCOME_OF[rule.effects["fails"]] == "fails" and not rule.leaves_open:
                    support = self.engine.support(number, adapted)
                    asked = [*(leaf.name for leaf in support.leaves), *support.presences]
                    found.append((number, self.columns.unread_bits([subject], asked)))
            self._lenient[key] = found
        return self._lenient[key]

    def block(self, items: Items, apart: Mapping[str, int] = _NONE, subject: str = "accessory") -> "Block":
        """Some items ready to be judged; those `apart` by SKU and place are judged with what a rig knows of them.

        They are all of one `subject`: of another than accessories the questions are about no accessory.
        """
        return Block(self, items, apart, subject)

    def catalogue(self, items: Items, subject: str, apart: Sequence[int] = ()) -> Catalogue:
        """Items of one subject as the columns know them, each of those `apart` for itself."""
        return self.columns.catalogue_of(
            items.columns, [subject], len(items.skus), apart, unread=items.unread, named=items.named
        )


class Block:
    """Some items, folded into signatures."""

    def __init__(self, kernel: Kernel, items: Items, apart: Mapping[str, int], subject: str) -> None:
        self.kernel, self.items, self._apart, self._subject = kernel, items, apart, subject
        self.catalogue = kernel.catalogue(items, subject, list(apart.values()))
        self.signature_of = self.catalogue.signature_of.astype(np.intp)

    def judge(self, rigs: Sequence[AuditRig]) -> Iterator[tuple[Judged, "RigResult"]]:
        """Judge rigs with every item."""
        every = self.kernel.columns.judge_all(self.catalogue, [rig.case for rig in rigs])
        for rig, judged in zip(rigs, every, strict=True):
            result = RigResult(judged, len(self.kernel.rulebook.rules), len(self.kernel.names))
            if UNREAD in self.catalogue.columns:
                result.hold_back(judged, self.kernel.lenient(bool(rig.case.adapters), self._subject))
            for sku in sorted(self._apart.keys() & rig.case.of_items.keys()):
                item = self._apart[sku]
                case = pair_case(self.kernel, self.items, item, rig)
                verdict = self.kernel.engine.evaluate(self.kernel.engine.opened(case))
                signature = int(self.signature_of[item])
                # A single case tells what it names or does not: where that is not known, no better is taken from it.
                if not self.items.unread_of(item) or OUTCOMES.index(verdict.outcome) >= result.outcome[signature]:
                    result.put(signature, verdict)
            yield judged, result


def pairs_table(
    block: Block, skus: pa.Array, rigs: Sequence[AuditRig], results: Sequence[RigResult], claims: Claims | None
) -> pa.Table:
    """The pairs of a block's items with some rigs, rig by rig; claims tell rigs by their places among these."""
    names, codes = _deciding(block.kernel.names, [result.deciding for result in results])
    count, of = len(skus), block.signature_of
    outcomes, rules = np.empty((len(rigs), count), np.int8), np.empty((len(rigs), count), np.int32)
    for place, result in enumerate(results):
        outcomes[place] = result.outcome.view(np.int8)[of]
        rules[place] = codes[place][of]
    claimed = pa.nulls(len(rigs) * count, pa.bool_())
    if claims is not None:
        flags = np.zeros((len(rigs), count), np.bool_)
        flags[claims.rig, claims.item] = True
        claimed = pa.array(flags.ravel())
    digest, keys = pa.array([block.kernel.rulebook.digest]), pa.array([rig.key for rig in rigs], pa.string())
    return pa.table(
        [
            _coded(np.repeat(np.arange(len(rigs), dtype=np.int32), count), keys),
            _coded(np.tile(np.arange(count, dtype=np.int32), len(rigs)), skus),
            _coded(outcomes.ravel(), pa.array(OUTCOMES)),
            _coded(rules.ravel(), pa.array(names, pa.string())),
            claimed,
            _coded(np.zeros(len(rigs) * count, np.int8), digest),
        ],
        schema=PAIRS,
    )


def _coded(codes: NDArray[Any], names: pa.Array) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(pa.array(codes), names)


def _deciding(members: Sequence[str], masks: Sequence[NDArray[np.uint64]]) -> tuple[list[str], list[Codes]]:
    """The distinct sets of deciding members as text, and each rig's codes by signature."""
    coded = np.zeros(sum(mask.shape[1] for mask in masks), np.int64)
    words: list[NDArray[np.uint64]] = []
    for word in range(len(masks[0])):
        encoded = pa.array(np.concatenate([mask[word] for mask in masks])).dictionary_encode()
        coded = coded * len(encoded.dictionary) + encoded.indices.to_numpy()
        # Sets are numbered anew after each word, so that numbers stay small whatever the words are.
        again = pa.array(coded).dictionary_encode()
        places = again.dictionary.to_numpy()
        before, last = places // len(encoded.dictionary), places % len(encoded.dictionary)
        words = [array[before] for array in words] + [encoded.dictionary.to_numpy()[last]]
        coded = again.indices.to_numpy().astype(np.int64)
    texts = [_text(members, [int(array[place]) for array in words]) for place in range(len(words[0]))]
    ends = np.cumsum([mask.shape[1] for mask in masks])[:-1]
    return texts, [codes.astype(np.int32) for codes in np.split(coded, ends)]


def _text(members: Sequence[str], words: Sequence[int]) -> str:
    return " ".join(members[number] for number in numbers_of(words))


def pair_case(kernel: Kernel, items: Items, item: int, rig: AuditRig) -> Case:
    """The question of one pair; a fact that could not be read is one that it names, of which nothing is known."""
    here = rig.case.of_items.get(items.skus[item], {})
    facts = {**rig.case.facts, **items.facts_of(item, kernel.slots), **here}
    named = kernel.rulebook.named & (facts.keys() | items.unread_of(item))
    return replace(rig.case, facts=facts, present=rig.case.present | {"accessory"} | named)


def touched_of(skus: Sequence[str], rigs: Sequence[AuditRig]) -> dict[str, int]:
    """The items of which some rig knows more than their columns, with their places."""
    known = {sku for rig in rigs for sku in rig.case.of_items}
    return {sku: place for place, sku in enumerate(skus) if sku in known} if known else {}


def decided_by(names: Sequence[str], result: RigResult, signature: int) -> list[str]:
    """The members that decide one signature."""
    return _text(names, [int(word) for word in result.deciding[:, signature]]).split()


def judge_block(items: pa.Table, rigs: pa.Table, rules: str | None = None) -> pa.Table:
    """Judge every item with every rig: Arrow in, Arrow out, for engines that spread a catalogue over machines.

    `items` are as a catalogue has them: `sku`, a column a fact (`shank`, or `weight [lb]` with bare figures), all of
    text, figures or yes/no, and maybe `fits`. `rigs` is what `audit_rigs.rigs_table` gives. `rules` is a folder of
    rules in place of fitsvc's own. The pairs come rig by rig, by the schema `PAIRS`. Rows without a number of their
    own raise ProblemsFound; a fact whose cell cannot be read is not known, and a name in `fits` that is none of the
    rigs claims nothing here.
    """
    (pairs,) = judge_in_parts(items, rigs, rules, len(items) * len(rigs))
    return pairs


def judge_in_parts(items: pa.Table, rigs: pa.Table, rules: str | None, pairs: int) -> Iterator[pa.Table]:
    """The same, in tables of at most so many pairs (and of one rig at least), so that memory is bounded."""
    kernel, reader = _kernel(rules)
    listed = rigs_of_table(rigs)
    cells = {name: items.column(name).to_pylist() for name in items.column_names}
    read, claimed, _ = items_of_columns(cells, reader, "the items")
    block = kernel.block(read, touched_of(read.skus, listed))
    skus = pa.array(read.skus, pa.string())
    names = ClaimReader(listed, "the items", kernel.rulebook)
    for place, cell in enumerate(claimed):
        list(names.add(place, cell, place + 1, "fits", {}))
    claims = names.claims() if "fits" in cells else None
    size = max(1, pairs // max(1, len(skus)))
    for start in range(0, len(listed), size):
        some = range(start, min(start + size, len(listed)))
        group = listed[some.start : some.stop]
        results = [result for _, result in block.judge(group)]
        yield pairs_table(block, skus, group, results, claims.among(some) if claims else None)


def rulebook_of(rules: str | None) -> Rulebook:
    """The rulebook of a folder of rules, or fitsvc's own."""
    return _kernel(rules)[0].rulebook


@lru_cache(maxsize=2)
def _kernel(rules: str | None) -> tuple[Kernel, FactReader]:
    from fitsvc.paths import data_dir
    from fitsvc.rulebook.cache import cached_rulebook

    rulebook = cached_rulebook(Path(rules) if rules else data_dir("rules"))
    return Kernel(rulebook), FactReader(rulebook)
