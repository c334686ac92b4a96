"""What a server of a million items does and holds while they change, seen from inside: `bench.profiled late` or `held`.

It is served, asked and changed as `bench.bench_million` does it. Of its time: every few milliseconds by the clock it is
looked which of its threads are at work, and what was at work while the slowest pages waited counts. Of its memory: what
objects hold when the changes are over, each counted with the first part that leads to it; what Arrow has in use, what
the server maps of files, and what is left of all: the interpreter's and the libraries' own, and free heap between.
"""

import asyncio
import os
import pickle
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from gc import collect, get_objects, get_referents, unfreeze
from pathlib import Path
from threading import Event, Thread, get_ident
from time import perf_counter, sleep
from types import BuiltinFunctionType, CodeType, FrameType, FunctionType, ModuleType
from typing import Any, Final

import httpx
import numpy as np
import pyarrow as pa

from bench.bench_million import ITEMS, PAGE, RIGS, changing
from bench.bench_selection import ask, held, rig, serve, started, steadily
from bench.looking import name_of, stack_of
from bench.stored_catalogue import store
from fitsvc.answers.answering import Answerer
from fitsvc.engine.columns.kernel import Index
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.segments import Segment

Seen = Counter[tuple[str, ...]]
SLOWEST: Final = 5
"""Of a hundred pages, so many are the slowest."""
EVERY: Final = 0.005
WAITING: Final = frozenset({"threading.py", "selectors.py", "queue.py", "runners.py", "thread.py", "_asyncio.py"})
"""Files in whose functions a thread is that waits for work."""
ASKED: Final = "asked"
MAPPED, ARROW, UNTOLD = "mapped", "arrow", "untold"
RULES, LATELY, LAID_OUT, INDEX = "rules", "lately", "laid out", "index"
NOT_ENTERED: Final = (ModuleType, type, FunctionType, BuiltinFunctionType, CodeType, FrameType)
"""What is there for all, whoever leads to it."""


class _Watch:
    """Looks at all other threads of its process until it is over."""

    def __init__(self) -> None:
        self._seen = list[tuple[float, tuple[tuple[CodeType, ...], ...]]]()
        self._over = Event()
        self._thread = Thread(target=self._look, daemon=True)
        self._thread.start()

    def _look(self) -> None:
        me = get_ident()
        while not self._over.wait(EVERY):
            others = (frame for thread, frame in sys._current_frames().items() if thread != me)
            self._seen.append((perf_counter(), tuple(map(stack_of, others))))

    def end(self) -> list[tuple[float, list[tuple[str, ...]]]]:
        """What was at work, and when."""
        self._over.set()
        self._thread.join()
        return [
            (now, [tuple(map(name_of, one)) for one in stacks if Path(one[-1].co_filename).name not in WAITING])
            for now, stacks in self._seen
        ]


def _watched(port: int, url: str, folder: Path) -> None:
    watch = _Watch()
    serve(port, url, folder)
    (folder / "seen").write_bytes(pickle.dumps(watch.end()))


def _weighed(port: int, url: str, folder: Path) -> None:
    """Serve, and tell the bytes held once asked for them by a file."""

    def look() -> None:
        while not (folder / ASKED).exists():
            sleep(EVERY)
        (folder / "seen").write_bytes(pickle.dumps(_bytes()))
        (folder / ASKED).unlink()

    Thread(target=look, daemon=True).start()
    serve(port, url, folder)


def _bytes() -> Seen:
    unfreeze()
    collect()
    own, mapped = (int(one * 1024 * 1024) for one in held(os.getpid()))
    found, seen, all_of = Seen(), set[int](), get_objects()
    of: dict[type, list[Any]] = {
        kind: [one for one in all_of if type(one) is kind] for kind in (Answerer, Segment, Index, SelectionIndex)
    }
    caches = [(one._judged, one._left, one.matching, one.shown, one._read) for one in of[Segment]]
    parts = {RULES: of[Answerer], LATELY: caches, LAID_OUT: of[Index], INDEX: [*of[Segment], *of[SelectionIndex]]}
    del all_of
    for name, roots in parts.items():
        found[name,] = _size(roots, seen, tuple(of))
    found[MAPPED,], found[ARROW,] = mapped, pa.total_allocated_bytes()
    found[UNTOLD,] = max(0, own + mapped - found.total())
    return found


def _size(roots: Sequence[Any], seen: set[int], stops: tuple[type, ...]) -> int:
    """The bytes of all that some objects lead to, but through others of some types, and not of what was seen."""
    size, ahead = 0, [*roots]
    first = {id(one) for one in roots}
    while ahead:
        one = ahead.pop()
        if id(one) in seen or isinstance(one, NOT_ENTERED) or (type(one) in stops and id(one) not in first):
            continue
        seen.add(id(one))
        size += 0 if type(one).__module__.startswith("pyarrow") else sys.getsizeof(one, 0)  # told by itself
        ahead += get_referents(one)
        if isinstance(one, np.ndarray) and one.base is not None:
            ahead.append(one.base)
    return size


def late() -> Seen:
    """The functions at work in the server while the slowest pages wait, each thread by itself."""
    with _stored() as (url, folder):
        asked = _asked(url, folder, _watched)
        slow = asked[asked[:, 1] >= np.percentile(asked[:, 1], 100 - SLOWEST)]
        ends = slow[:, 0] + slow[:, 1] / 1e3
        found = Seen()
        for now, stacks in pickle.loads((folder / "seen").read_bytes()):  # noqa: S301  # written by our own process
            if ((slow[:, 0] <= now) & (now <= ends)).any():
                found.update(stacks)
    return found


def weighed() -> Seen:
    """The bytes a server holds when changes are over, by what holds them."""
    with _stored() as (url, folder):
        _asked(url, folder, _weighed)
        found: Seen = pickle.loads((folder / "seen").read_bytes())  # noqa: S301  # likewise
    return found


@contextmanager
def _stored() -> Iterator[tuple[str, Path]]:
    """The database with a million items, and a folder in which it is served; kept where a folder is named."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(os.environ.get("FITSVC_BENCH_STORED", made))
        url = f"sqlite:///{folder / f'{ITEMS}.db'}"
        if not (folder / f"{ITEMS}.db").exists():
            store(url, load_rulebook(data_dir("rules")), ITEMS)
        yield url, folder


def _asked(url: str, folder: Path, how: Callable[[int, str, Path], None]) -> Any:
    """Serve, ask while items change, and end; when each page was due, and its milliseconds."""
    server, port, _ = started(url, folder, how)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=1200) as client:
            ask(client, PAGE, [rig(number) for number in range(RIGS)])
        with changing(url, ITEMS):
            found = asyncio.run(steadily(port))
        if how is _weighed:
            (folder / ASKED).touch()
            while (folder / ASKED).exists():
                sleep(EVERY)
        return found
    finally:
        server.terminate()
        server.join()
