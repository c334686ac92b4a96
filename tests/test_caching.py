"""A cache keeps so many, makes each once, and lets nobody wait for what another asks for."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.caching import LruCache

_LONG = 30.0
"""Seconds after which a test gives up; nothing is measured by it."""


def test_what_is_kept_is_had_while_something_else_is_made() -> None:
    """A key at hand does not wait for another key's slow make."""
    cache, begun, go_on = LruCache[str, int](8), Event(), Event()
    cache.keep("warm", 1)

    def slow() -> int:
        begun.set()
        assert go_on.wait(_LONG)
        return 2

    with ThreadPoolExecutor(1) as pool:
        cold = pool.submit(cache.get, "cold", slow)
        assert begun.wait(_LONG)
        assert cache.get("warm", lambda: 0) == 1
        assert cache.get("another", lambda: 3) == 3
        assert cache.find("cold") is None
        go_on.set()
        assert cold.result(_LONG) == 2


def test_a_key_is_made_once_by_two_threads() -> None:
    """Whoever asks for what is being made waits for it, and is given the same."""
    cache, begun, go_on, made = LruCache[str, object](8), Event(), Event(), list[object]()

    def slow() -> object:
        begun.set()
        assert go_on.wait(_LONG)
        made.append(object())
        return made[-1]

    with ThreadPoolExecutor(4) as pool:
        first = pool.submit(cache.get, "a", slow)
        assert begun.wait(_LONG)
        others = [pool.submit(cache.get, "a", slow) for _ in range(3)]
        assert not any(one.done() for one in others)
        go_on.set()
        found = [one.result(_LONG) for one in (first, *others)]
    assert len(made) == 1 and all(one is made[0] for one in found)


def test_a_make_that_raises_is_not_kept() -> None:
    """Its error goes to who asked; whoever waits makes it himself, and so does whoever asks later."""
    cache, begun, go_on = LruCache[str, int](8), Event(), Event()

    def fails() -> int:
        begun.set()
        assert go_on.wait(_LONG)
        raise ValueError("it cannot be made")

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(cache.get, "a", fails)
        assert begun.wait(_LONG)
        second = pool.submit(cache.get, "a", lambda: 2)
        go_on.set()
        with pytest.raises(ValueError, match="cannot be made"):
            first.result(_LONG)
        assert second.result(_LONG) == 2
    with pytest.raises(ZeroDivisionError):
        cache.get("b", lambda: 1 // 0)
    assert cache.find("b") is None and cache.get("b", lambda: 3) == 3


def test_a_make_may_ask_for_other_keys() -> None:
    """A value made of others of the same cache is made like any other."""
    cache = LruCache[int, int](8)

    def fibonacci(n: int) -> int:
        return cache.get(n, lambda: n if n < 2 else fibonacci(n - 1) + fibonacci(n - 2))

    assert fibonacci(7) == 13
    assert len(cache) == 8


@given(st.integers(1, 5), st.lists(st.tuples(st.sampled_from(("get", "keep", "find")), st.integers(0, 9))))
def test_those_used_lately_are_kept(most: int, steps: list[tuple[str, int]]) -> None:
    """It holds what a list in the order of use would: never more than the bound, the last used, each as last made."""
    cache, expected = LruCache[int, object](most), dict[int, object]()
    for how, key in steps:
        value = object()
        if how == "find":
            assert cache.find(key) is expected.get(key)
            continue
        if how == "get":
            value = expected.get(key, value)
            assert cache.get(key, lambda value=value: value) is value  # type: ignore[misc]  # a lambda with a default is untyped to the checker
        else:
            cache.keep(key, value)
        expected.pop(key, None)
        expected[key] = value
        if len(expected) > most:
            del expected[next(iter(expected))]
        assert len(cache) == len(expected) <= most
    assert all(cache.find(key) is expected.get(key) for key in range(10))
