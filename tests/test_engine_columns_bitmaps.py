"""Packed bitmaps tell what the boolean arrays they were made of tell, as numpy does."""

import numpy as np
import pytest

from fitsvc.engine.columns.bitmaps import Counter, pack, set_at, unpack

COUNTS = [1, 7, 8, 63, 64, 65, 1000]


@pytest.mark.parametrize("count", COUNTS)
def test_bits_come_back_and_are_found_one_by_one(count: int) -> None:
    """Unpacked they are what was packed, and each is set where it was."""
    random = np.random.default_rng(count)
    bits = random.random(count) < 0.4
    words = pack(bits)
    assert np.array_equal(unpack(words, count), bits)
    places = random.integers(0, count, 500).astype(np.uint32)
    assert np.array_equal(set_at(words, places), bits[places])


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("most", [1, 2, 37])
def test_weights_of_set_bits_add_up(count: int, most: int) -> None:
    """Whether all weights are one or not."""
    random = np.random.default_rng(most)
    weights = np.sort(random.integers(1, most + 1, count))[::-1].astype(np.int64)
    bits = random.random(count) < 0.4
    assert Counter(weights).of(pack(bits)) == weights[bits].sum()
