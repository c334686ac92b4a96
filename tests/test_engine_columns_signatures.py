"""Rows of a catalogue folded into groups of equal ones."""

import numpy as np
import pytest

from fitsvc.engine.columns.signatures import order_rows


@pytest.mark.parametrize("most", [1, 3, 40, 900, 10**6])
def test_rows_are_folded_alike_by_counting_and_by_sorting(most: int) -> None:
    """However many keys there are for so many rows, groups and their first rows are those that NumPy finds."""
    random = np.random.default_rng(most)
    for count in (0, 1, 2, 7, 120, 600):
        one, other = (random.integers(0, most, count) for _ in range(2))
        found = order_rows([one, other], count)
        pairs = np.stack([one, other], axis=1) if count else np.zeros((0, 2), np.int64)
        _, first, group = np.unique(pairs, axis=0, return_index=True, return_inverse=True)
        assert found.first.tolist() == first.tolist()
        assert found.group.tolist() == np.ravel(group).tolist()
