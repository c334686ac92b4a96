"""A running server as a process of its own, for tests."""

import http.client
import json
import re
import socket
import ssl
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Final

from waiting import LONGEST, until
from warm import COMMAND, Begun

from fitsvc.service.examples import QUESTION

BODY = json.dumps(QUESTION).encode()
NO_TLS: Final = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
"""For requests over plain HTTP: to read the system's certificates takes ten times as long as to ask."""
_PROGRAM = """
import json
import sys
from pathlib import Path
from fitsvc.service.serving import serve
from fitsvc.service.settings import Settings
host, port, url, audits, settings = sys.argv[1:]
serve(host, int(port), url, audits=Path(audits), settings=Settings(**json.loads(settings)))
"""


class Served:
    """A running server and what it has written."""

    def __init__(
        self,
        url: str,
        log: Path,
        host: str = "127.0.0.1",
        audits: Path | None = None,
        options: Sequence[str] = (),
        **settings: float | list[str],
    ) -> None:
        """Start one; `settings` are those that differ from what is usual, or all by options of the command."""
        self.log, self.output = log, log.open("w")
        told = [host, "0", url, str(audits or log.parent / "audits"), json.dumps(settings)]
        if options:
            told = ["serve", "--port", "0", "--database", url, *options]
        self.process = Begun(told, self.output.fileno(), code=COMMAND if options else _PROGRAM)

    def port(self) -> int:
        """Wait until the server listens, and return where."""
        return until(self._port, "the server to listen")

    def _port(self) -> int | None:
        assert self.process.poll() is None, self.log.read_text()
        if found := re.search(r"listening on http://[^ ]*:(\d+)", self.log.read_text()):
            port = int(found[1])
            # A worker that is not up yet may hang up on who was let in.
            with suppress(ConnectionError), socket.create_connection(("127.0.0.1", port), LONGEST) as connection:
                connection.sendall(b"GET /health/live HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
                if b" 200 " in connection.recv(100):
                    return port
        return None

    def end(self) -> None:
        """Make sure that nothing is left running."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self.output.close()


def ask(port: int) -> tuple[int, bytes]:
    """Ask the example's question and return status and body."""
    response, found = reply(port, "POST", "/v1/answers", BODY, {"Content-Type": "application/json"})
    return response.status, found


def reply(
    port: int, method: str, path: str, body: bytes | str | None = None, headers: Mapping[str, str] | None = None
) -> tuple[http.client.HTTPResponse, bytes]:
    """One request on a connection of its own, let go of whatever comes: the reply, read to its end, and its body."""
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=LONGEST)) as connection:
        connection.request(method, path, body, headers or {})
        with connection.getresponse() as response:
            return response, response.read()


@contextmanager
def connected(port: int, count: int) -> Iterator[list[socket.socket]]:
    """So many connections, let go of whatever comes."""
    with ExitStack() as held:
        yield [held.enter_context(socket.create_connection(("127.0.0.1", port), LONGEST)) for _ in range(count)]
