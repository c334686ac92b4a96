"""An editor, as far as the language server is concerned: it starts one and speaks its protocol, in plain JSON.

It knows nothing of the library that the server is built on, so that the two are held to the protocol and not to each
other.
"""

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty, Queue
from typing import Any, Final

from waiting import LONGEST

COMMAND: Final = (sys.executable, "-m", "fitsvc", "rules", "lsp")


class Refused(Exception):
    """What the server answers where it cannot do what it is asked for."""


class Editor:
    """One session with a server."""

    def __init__(self, process: "subprocess.Popen[bytes]") -> None:
        self.process, self.last, self.versions = process, 0, dict[str, int]()
        self.faults: dict[str, list[Any]] = {}
        self.told: Queue[dict[str, Any]] = Queue()
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        stream = self.process.stdout
        assert stream is not None
        while header := stream.readline():
            length = 0
            while header.strip():
                name, _, value = header.partition(b":")
                length = int(value) if name.lower() == b"content-length" else length
                header = stream.readline()
            self.told.put(json.loads(stream.read(length)))

    def send(self, method: str, params: Any, number: int | None = None) -> None:
        """Send a notification, or a request that has a number."""
        message = {"jsonrpc": "2.0", "method": method, "params": params}
        body = json.dumps(message if number is None else {**message, "id": number}).encode()
        assert self.process.stdin is not None
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n%b" % (len(body), body))
        self.process.stdin.flush()

    def hear(self, until: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """Read what the server says until something that is waited for; faults are noted on the way."""
        while True:
            try:
                said = self.told.get(timeout=LONGEST)
            except Empty:
                raise AssertionError("the server is silent") from None
            if said.get("method") == "textDocument/publishDiagnostics":
                said["params"].setdefault("version", None)
                self.faults[said["params"]["uri"]] = said["params"]["diagnostics"]
            if until(said):
                return said

    def ask(self, method: str, params: Any) -> Any:
        """What the server answers; Refused with its words where it does not."""
        self.last += 1
        number = self.last
        self.send(method, params, number)
        answer = self.hear(lambda said: said.get("id") == number and "method" not in said)
        if "error" in answer:
            raise Refused(answer["error"]["message"])
        return answer["result"]

    def until(self, true: Callable[[], bool]) -> None:
        """Listen until something is so."""
        while not true():
            self.hear(lambda said: True)

    # one file

    def open(self, path: Path, text: str | None = None) -> None:
        """Open a file, as it is on disk or with another text, and wait until its folder has been checked."""
        uri, said = path.as_uri(), text if text is not None else path.read_text("utf-8")
        self.versions[uri] = 1
        document = {"uri": uri, "languageId": "yaml", "version": 1, "text": said}
        self.send("textDocument/didOpen", {"textDocument": document})
        self.checked(uri)

    def type(self, path: Path, text: str, *, wait: bool = True) -> None:
        """Put another text in place of a file's."""
        uri = path.as_uri()
        self.versions[uri] += 1
        document = {"uri": uri, "version": self.versions[uri]}
        self.send("textDocument/didChange", {"textDocument": document, "contentChanges": [{"text": text}]})
        if wait:
            self.checked(uri)

    def checked(self, uri: str) -> None:
        """Wait until the server has told of the faults of a file as it is now."""
        wanted = {"uri": uri, "version": self.versions.get(uri)}
        self.hear(lambda said: wanted.items() <= said.get("params", {}).items())

    def faults_of(self, path: Path) -> list[tuple[int, str]]:
        """The faults that were last told of a file: the line, counted from 1, and the first line of what is said."""
        found = self.faults.get(path.as_uri(), [])
        return [(one["range"]["start"]["line"] + 1, one["message"].split("\n")[0]) for one in found]

    def at(self, kind: str, path: Path, text: str, mark: str, **more: Any) -> Any:
        """Ask about the place behind a piece of a file's text."""
        before = text[: text.index(mark) + len(mark)]
        line = before[before.rfind("\n") + 1 :]
        position = {"line": before.count("\n"), "character": len(line.encode("utf-16-le")) // 2}
        return self.ask(f"textDocument/{kind}", {"textDocument": {"uri": path.as_uri()}, "position": position, **more})


@contextmanager
def editor(folder: Path) -> Iterator[Editor]:
    """An editor with a server of its own, which ends as the protocol says and says nothing else."""
    with subprocess.Popen(COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        one = Editor(process)
        one.ask("initialize", {"processId": None, "rootUri": folder.as_uri(), "capabilities": {}})
        one.send("initialized", {})
        try:
            yield one
            one.ask("shutdown", None)
            one.send("exit", None)
            assert process.wait(LONGEST) == 0
            assert process.stderr is not None
            assert process.stderr.read() == b""
        finally:
            process.kill()


def written(text: str, edits: list[dict[str, Any]]) -> str:
    """A text with the edits of an answer."""
    lines = text.split("\n")
    starts = [sum(len(line) + 1 for line in lines[:number]) for number in range(len(lines) + 1)]

    def index(place: dict[str, int]) -> int:
        units = lines[place["line"]].encode("utf-16-le")[: 2 * place["character"]]
        return starts[place["line"]] + len(units.decode("utf-16-le"))

    for one in sorted(edits, key=lambda edit: index(edit["range"]["start"]), reverse=True):
        text = text[: index(one["range"]["start"])] + one["newText"] + text[index(one["range"]["end"]) :]
    return text
