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
from fitsvc.audits.reading import items_of_columns
from fitsvc.audits.rigs import AuditRig, rigs_of_table
from fitsvc.engine.columns.bitmaps import Words, unpack
from fitsvc.engine.columns.kernel import MOST_KEPT, Columns, Judged
from fitsvc.engine.columns.signatures import Catalogue, Column, value_at
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.results import codes_of

_WORD: Final = 64
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
        self.words = -(-len(self.names) // _WORD)

    def block(self, columns: Mapping[str, Column], count: int, apart: Mapping[str, int] = _NONE) -> "Block":
        """Some items ready to be judged; those `apart` by SKU and place are judged with what a rig knows of them."""
        return Block(self, columns, count, apart)


class Block:
    """Some items, folded into signatures."""

    def __init__(self, kernel: Kernel, columns: Mapping[str, Column], count: int, apart: Mapping[str, int]) -> None:
        self.kernel, self._columns, self._apart = kernel, columns, apart
        self.catalogue = kernel.columns.catalogue_of(columns, ["accessory"], count, list(apart.values()))
        self.signature_of = self.catalogue.signature_of.astype(np.intp)

    def judge(self, rigs: Sequence[AuditRig]) -> Iterator[tuple[Judged, "RigResult"]]:
        """Judge rigs with every item."""
        every = self.kernel.columns.judge_all(self.catalogue, [rig.case for rig in rigs])
        for rig, judged in zip(rigs, every, strict=True):
            result = RigResult(self.kernel, judged)
            for sku in sorted(self._apart.keys() & rig.case.of_items.keys()):
                item = self._apart[sku]
                case = pair_case(self.kernel, self._columns, item, sku, rig)
                verdict = self.kernel.engine.evaluate(self.kernel.engine.opened(case))
                result.put(int(self.signature_of[item]), verdict)
            yield judged, result


class RigResult:
    """One rig with every signature of a block: outcomes, and the members that decide each, as words of bits."""

    def __init__(self, kernel: Kernel, judged: Judged) -> None:
        self._kernel = kernel
        self.outcome = judged.outcome()
        self.deciding = np.zeros((kernel.words, judged.catalogue.count), np.uint64)
        self.pairs: list[tuple[int, int, int]] = []
        self._decide(judged)

    def put(self, signature: int, verdict: Verdict) -> None:
        """Take what one signature of a single item comes to, judged by itself."""
        was, now = int(self.outcome[signature]), OUTCOMES.index(verdict.outcome)
        numbers = codes_of(verdict, len(self._kernel.rulebook.rules))
        words = [sum(1 << n % _WORD for n in set(numbers) if n // _WORD == word) for word in range(len(self.deciding))]
        before = _numbers([int(word) for word in self.deciding[:, signature]])
        self.pairs += [(number, was, -1) for number in before] + [(number, now, 1) for number in sorted(set(numbers))]
        self.outcome[signature], self.deciding[:, signature] = now, words

    def _decide(self, judged: Judged) -> None:
        for number, effect, where in judged.deciding():
            self._take(judged.catalogue, number, OUTCOMES.index(OUTCOME_OF[effect]), where)

    def _take(self, catalogue: Catalogue, number: int, outcome: int, where: Words) -> None:
        """Note a member where it decides: where the outcome is the one that it brings about."""
        if not where.any():
            return
        self.pairs.append((number, outcome, catalogue.counter.of(where)))
        bits = unpack(where, catalogue.count).view(np.uint8).astype(np.uint64)
        self.deciding[number // _WORD] |= bits << np.uint64(number % _WORD)


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
    return " ".join(members[number] for number in _numbers(words))


def _numbers(words: Sequence[int]) -> list[int]:
    """The numbers whose bits are set in a row of words."""
    bits = sum(word << place * _WORD for place, word in enumerate(words))
    return [number for number in range(bits.bit_length()) if bits >> number & 1]


def pair_case(kernel: Kernel, columns: Mapping[str, Column], item: int, sku: str, rig: AuditRig) -> Case:
    """The question of one pair."""
    kinds = kernel.slots
    facts: dict[str, Value] = dict(rig.case.facts)
    for name, column in columns.items():
        value = value_at(kinds[name], column, item)
        if value != kinds[name].unknown:
            facts[name] = value
    facts |= rig.case.of_items.get(sku, {})
    named = kernel.rulebook.named & facts.keys()
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
    rules in place of fitsvc's own. The pairs come rig by rig, by the schema `PAIRS`. Bad items raise ProblemsFound.
    A name in `fits` that is none of the rigs claims nothing here.
    """
    (pairs,) = judge_in_parts(items, rigs, rules, len(items) * len(rigs))
    return pairs


def judge_in_parts(items: pa.Table, rigs: pa.Table, rules: str | None, pairs: int) -> Iterator[pa.Table]:
    """The same, in tables of at most so many pairs (and of one rig at least), so that memory is bounded."""
    kernel, reader = _kernel(rules)
    listed = rigs_of_table(rigs)
    cells = {name: items.column(name).to_pylist() for name in items.column_names}
    read, claimed = items_of_columns(cells, reader, "the items")
    block = kernel.block(read.columns, len(read.skus), touched_of(read.skus, listed))
    skus = pa.array(read.skus, pa.string())
    names = ClaimReader(listed, "the items")
    for place, found in enumerate(claimed):
        list(names.add(place, found, place + 1, "fits"))
    claims = names.claims() if "fits" in cells else None
    size = max(1, pairs // max(1, len(skus)))
    for start in range(0, len(listed), size):
        some = range(start, min(start + size, len(listed)))
        group = listed[some.start : some.stop]
        results = [result for _, result in block.judge(group)]
        yield pairs_table(block, skus, group, results, claims.among(some) if claims else None)


@lru_cache(maxsize=2)
def _kernel(rules: str | None) -> tuple[Kernel, FactReader]:
    from fitsvc.paths import data_dir
    from fitsvc.rulebook.cache import cached_rulebook

    rulebook = cached_rulebook(Path(rules) if rules else data_dir("rules"))
    return Kernel(rulebook), FactReader(rulebook)
