"""How soon health answers while the costliest questions run: `PYTHONPATH=tests python -m bench.bench_stalls`.

Two workers, and on each more of the costliest questions that random search has found than it has threads for; health is
asked on a new connection each time, so that both workers come to be asked: whether it runs, and whether it is ready.
The same is measured with nothing else to do, before and after: what the machine itself takes is in all of it. How busy
the machine is besides is told by its load (`/proc/loadavg`).
"""

import http.client
import json
import tempfile
import threading
import time
from pathlib import Path
from typing import Final

import httpx
from served import NO_TLS, Served

from fitsvc.store.database import upgrade

ASKED: Final = 300
HEALTH: Final = ("/health/live", "/health/ready")
AT_ONCE: Final = 24
WANTED: Final = 0.05
OPEN: Final[dict[str, dict[str, object]]] = {part: {"facts": {}} for part in ("accessory", "load", "trailer", "ball")}


def costly(number: int) -> bytes:
    """Return a question that leaves all open, and that was not asked before.

    With four decimals: three behind a point may part thousands, and are refused.
    """
    receiver = {"facts": {"tongue_rating": f"{400 + number / 1000:.4f} lb"}}
    return json.dumps({"rig": {"receiver": receiver, "adapters": [{"facts": {}}] * 4}, **OPEN}).encode()


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        upgrade(url)
        server = Served(url, Path(folder) / "log", workers=2)
        try:
            port, over = server.port(), threading.Event()
            _idle(port)
            answered = list[int]()
            threads = [
                threading.Thread(target=_keep_asking, args=(port, number, over, answered)) for number in range(AT_ONCE)
            ]
            for thread in threads:
                thread.start()
            time.sleep(1)
            for path in HEALTH:
                _tell(path, f"while {AT_ONCE} callers ask the costliest", _asked(port, path))
            begun, asked = time.perf_counter(), len(answered)
            time.sleep(3)
            rate = (len(answered) - asked) / (time.perf_counter() - begun)
            over.set()
            for thread in threads:
                thread.join()
            assert set(answered) == {200}, set(answered)
            print(f"{len(answered)} of these were answered meanwhile, {rate:.1f} a second")
            _idle(port)
        finally:
            server.end()


def _keep_asking(port: int, number: int, over: threading.Event, answered: list[int]) -> None:
    with httpx.Client(verify=NO_TLS, timeout=600) as client:
        while not over.is_set():
            number += AT_ONCE
            headers = {"Content-Type": "application/json"}
            reply = client.post(f"http://127.0.0.1:{port}/v1/answers", content=costly(number), headers=headers)
            answered.append(reply.status_code)


def _idle(port: int) -> None:
    load = Path("/proc/loadavg").read_text("ascii").split()[0]
    for path in HEALTH:
        _tell(path, f"with nothing else to do, load {load}", _asked(port, path))


def _asked(port: int, path: str) -> list[float]:
    found = list[float]()
    for _ in range(ASKED):
        start = time.perf_counter()
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=600)
        connection.request("GET", path)
        assert connection.getresponse().read()
        connection.close()
        found.append(time.perf_counter() - start)
    return sorted(found)


def _tell(path: str, what: str, found: list[float]) -> None:
    middle, late = (1000 * found[int(len(found) * share)] for share in (0.5, 0.99))
    within = sum(one <= WANTED for one in found) / len(found)
    print(f"{path} {what}: middle {middle:.1f} ms, slowest hundredth {late:.1f} ms, {within:.1%} within 50 ms")


if __name__ == "__main__":
    main()
