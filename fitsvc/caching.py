"""Results kept for whoever asks again: at most so many, and each made once however many threads ask for it.

Two locks, since one would hold up everybody: that of the cache is held to look something up and to store it, never
while it is made; whoever asks for what is being made waits for that alone.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class LruCache(Generic[K, V]):
    """At most `most` values by key, none of them None; the one that was not used for longest goes first.

    Safe to share between threads. `find` is for the hottest ways: the value that is kept, or None, for what it costs
    to look into a dictionary. It takes no lock, and so does not count as a use.
    """

    __slots__ = ("_lock", "_making", "_most", "_values", "find")

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, Lock()
        self._values: OrderedDict[K, V] = OrderedDict()
        self._making: dict[K, Lock] = {}
        self.find: Callable[[K], V | None] = self._values.get

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: K, make: Callable[[], V]) -> V:
        """The value of a key, made unless it is kept; what `make` raises is raised, and the next who asks makes it.

        `make` may ask for other keys, of which none may ask for this one in turn.
        """
        while True:
            with self._lock:
                found = self._values.get(key)
                if found is not None:
                    self._values.move_to_end(key)
                    return found
                making = self._making.get(key)
                if making is None:
                    mine = self._making[key] = Lock()
                    mine.acquire()
                    break
            with making:
                pass  # it is made now, or making it failed: look again
        return self._make(key, make, mine)

    def _make(self, key: K, make: Callable[[], V], mine: Lock) -> V:
        """Make a value that nobody else makes meanwhile, and let those go on who wait for it."""
        try:
            value = make()
            self.keep(key, value)
            return value
        finally:
            with self._lock:
                del self._making[key]
            mine.release()

    def keep(self, key: K, value: V) -> None:
        """Keep a value that has been made, in place of the one not used for longest where there are too many."""
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            if len(self._values) > self._most:
                self._values.popitem(last=False)
