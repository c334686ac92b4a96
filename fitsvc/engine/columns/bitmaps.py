"""Packed bitmaps over the signatures of a catalogue, 64 a word, and counts weighted by the items each stands for."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.uint64]
_BITS: Final = 64


def words_for(count: int) -> int:
    """How many words hold so many bits."""
    return -(-count // _BITS)


def pack(bits: NDArray[np.bool_]) -> Words:
    """A boolean array as words; the bits past its end are zero."""
    packed = np.packbits(bits, bitorder="little")
    if len(packed) % 8 == 0:
        return packed.view(np.uint64)
    filled = np.zeros(words_for(len(bits)) * 8, np.uint8)
    filled[: len(packed)] = packed
    return filled.view(np.uint64)


def unpack(words: Words, count: int) -> NDArray[np.bool_]:
    """The first `count` bits as a boolean array."""
    return np.unpackbits(words.view(np.uint8), count=count, bitorder="little").view(np.bool_)


def set_at(words: Words, places: NDArray[np.integer[Any]]) -> NDArray[np.bool_]:
    """Whether the bits at some places are set."""
    bits: NDArray[np.uint8] = words.view(np.uint8)[places >> 3] >> (places & 7).astype(np.uint8) & 1
    return bits.view(np.bool_)


def differing(one: Words | None, other: Words | None) -> Words | None:
    """The bits that are set in one bitmap alone of two; no bitmap is an empty one."""
    if one is None or other is None:
        return other if one is None else one
    return one ^ other


class Counter:
    """Adds up the weights of the set bits, by one bitmap for each binary digit of the weights.

    Weights are given heaviest first, so that the bitmaps of high digits are short.
    """

    __slots__ = ("_digits", "_places", "_scales", "plain", "total")

    def __init__(self, weights: NDArray[np.int64]) -> None:
        self.total = int(weights.sum())
        self.plain = bool(len(weights)) and int(weights.max()) == 1
        places, digits, scales = [], [], []
        for digit in range(int(weights.max()).bit_length() if len(weights) else 0):
            words = pack((weights >> digit & 1).astype(np.bool_))
            used = np.flatnonzero(words)
            places.append(used)
            digits.append(words[used])
            scales.append(np.full(len(used), float(1 << digit)))
        self._places = np.concatenate(places) if places else np.zeros(0, np.int64)
        self._digits = np.concatenate(digits) if digits else np.zeros(0, np.uint64)
        self._scales = np.concatenate(scales) if scales else np.zeros(0, np.float64)

    def of(self, words: Words | None) -> int:
        """The weight of a bitmap; no bitmap is an empty one."""
        if words is None:
            return 0
        if self.plain:
            return int(np.bitwise_count(words).sum(dtype=np.int64))
        bits = np.bitwise_count(words[self._places] & self._digits)
        return int(bits.astype(np.float64) @ self._scales)
