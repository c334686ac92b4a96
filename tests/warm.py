"""A process that has imported fitsvc, from which others are begun: commands and servers that import nothing first.

To import what a server needs, and to compile the rules that ship with fitsvc, takes many times as long as all that most
tests then ask of it. What is begun here is a process of its own, a copy of one that has done no more than that, with
the arguments, folder, environment and streams that it is given. That fitsvc begins by itself too is held where it is
started the usual way, as by the README. Modules that are imported late stay so.
"""

import array
import atexit
import gc
import json
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from types import ModuleType
from typing import Any, Final, TextIO

_PACKAGES: Final = ("fitsvc.cli", "fitsvc.service")
_LATE: Final = ("fitsvc.service.traces", "psycopg", "sqlalchemy.dialects.postgresql.psycopg", "uvicorn.loops.uvloop")
_LARGEST: Final = 200_000
"""What a request may take: an environment and a command."""
COMMAND: Final = "import sys; from fitsvc.cli import main; sys.exit(main())"
_BEGIN: Final = "import sys; from warm import serve; serve(sys.argv[1], int(sys.argv[2]))"
_SHIM: Final = """\
#!{python} -IS
import array, json, os, signal, socket, sys

connection = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
connection.connect({address!r})
told = dict(code={code!r}, argv=["fitsvc", *sys.argv[1:]], env=dict(os.environ), cwd=os.getcwd())
streams = [(socket.SOL_SOCKET, socket.SCM_RIGHTS, array.array("i", [0, 1, 2]))]
connection.sendmsg([json.dumps(told).encode()], streams)
pid = int(connection.recv(100))
for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
    signal.signal(number, lambda sent, frame: os.kill(pid, sent))
ended = int(connection.recv(100))
sys.exit(ended if ended >= 0 else 128 - ended)
"""


class Begun:
    """A process that was begun: what `subprocess.Popen` has for who waits for it or ends it."""

    def __init__(
        self,
        arguments: Sequence[str],
        output: int,
        *,
        code: str = COMMAND,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        """Begin `fitsvc` with arguments, or some code; what it writes goes to a file descriptor."""
        env = dict(os.environ if environment is None else environment)
        told = {"code": code, "argv": ["fitsvc", *arguments], "env": env, "cwd": str(Path.cwd())}
        self.returncode: int | None = None
        self._connection = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        try:
            self._connection.connect(_address())
            with Path(os.devnull).open("rb") as nothing:
                streams = array.array("i", [nothing.fileno(), output, output])
                rights = [(socket.SOL_SOCKET, socket.SCM_RIGHTS, streams)]
                self._connection.sendmsg([json.dumps(told).encode()], rights)
            self.pid = int(self._connection.recv(100))
        except BaseException:
            self._connection.close()
            raise

    def poll(self) -> int | None:
        """With what it ended; None while it runs."""
        return self.returncode if self.returncode is not None or not self._ended(0) else self._reaped()

    def wait(self, timeout: float | None = None) -> int:
        """Wait until it has ended, and return with what."""
        if self.returncode is not None:
            return self.returncode
        if not self._ended(timeout):
            raise subprocess.TimeoutExpired("fitsvc", timeout or 0.0)
        return self._reaped()

    def send_signal(self, number: int) -> None:
        """Send it a signal, if it runs."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """End it outright."""
        self.send_signal(signal.SIGKILL)

    def _ended(self, timeout: float | None) -> bool:
        return bool(select.select([self._connection], [], [], timeout)[0])

    def _reaped(self) -> int:
        found = self._connection.recv(100)
        self._connection.close()
        assert found, "nobody is left to say with what it ended"
        self.returncode = int(found)
        return self.returncode


def carry_out(*arguments: str) -> None:
    """Have a command done, which has nothing to complain of."""
    with tempfile.TemporaryFile("w+") as output:
        ended = Begun(arguments, output.fileno()).wait()
        output.seek(0)
        assert ended == 0, output.read()


def shim(folder: Path) -> Path:
    """Write a program `fitsvc` into a folder, that a shell may begin: it takes the streams of who begins it."""
    folder.mkdir()
    program = folder / "fitsvc"
    program.write_text(_SHIM.format(python=sys.executable, address=_address(), code=COMMAND), "utf-8")
    program.chmod(0o755)
    return folder


@cache
def _address() -> str:
    """Begin the process that has imported all, and return where it is asked; it ends with this one."""
    folder = Path(tempfile.mkdtemp(prefix="fitsvc-warm-"))
    address = str(folder / "s")
    read, write = os.pipe()
    env = os.environ | {"PYTHONPATH": os.pathsep.join(one for one in sys.path if one)}
    command = [sys.executable, "-c", _BEGIN, address, str(write)]
    process = subprocess.Popen(command, env=env, pass_fds=[write], stdin=subprocess.PIPE)
    os.close(write)

    def end() -> None:
        process.communicate()
        shutil.rmtree(folder, ignore_errors=True)

    atexit.register(end)
    with os.fdopen(read, "rb") as ready:
        assert ready.read() == b"ready", "nothing could be imported"
    return address


def serve(address: str, ready: int) -> None:
    """Import what commands and servers do, then begin a process for each who asks; returns in those alone."""
    for package in _PACKAGES:
        for one in walk_packages(import_module(package).__path__, f"{package}."):
            import_module(one.name)
    for name in _LATE:
        import_module(name)
    _prepare()
    gc.collect()
    gc.freeze()
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    listening.bind(address)
    listening.listen(100)
    os.write(ready, b"ready")
    os.close(ready)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    # It ends with who began it, whose end of its own input is then closed.
    while sys.stdin not in select.select([listening, sys.stdin], [], [])[0]:
        connection, _ = listening.accept()
        text, streams, *_ = socket.recv_fds(connection, _LARGEST, 3)
        if text and not os.fork():
            listening.close()
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            code = _minded(connection, json.loads(text), streams)
            exec(compile(code, "<string>", "exec"), vars(sys.modules["__main__"]))  # noqa: S102  # a test's own code
            return
        for stream in streams:
            os.close(stream)
        connection.close()


def _prepare() -> None:
    """Have fitsvc's own rules compiled once for all who answer by them, as one server has it for all its workers.

    Other rules are compiled when they are first asked for, which is what preparing them would save a caller.
    """
    from fitsvc.answers.answering import Answerer
    from fitsvc.planning.planner import Planner
    from fitsvc.service import published

    make = published.served_by
    own = make(None)
    for one in (Answerer, Planner):
        one.prepare = _nothing  # type: ignore[method-assign]  # the servers of tests are begun so

    def served_by(rules: Path | None) -> published.Served:
        return make(rules) if rules else own

    published.served_by = served_by


def _nothing(self: object) -> None:
    """Prepare nothing."""


def _minded(connection: socket.socket, told: dict[str, Any], streams: Sequence[int]) -> str:
    """Begin a process beside one that minds it, and return in it with what it is to do.

    The other says its number and with what it ended, and ends it where nobody waits for it any longer.
    """
    pid = os.fork()
    if not pid:
        connection.close()
        return _become(told, streams)
    for stream in streams:
        os.close(stream)
    connection.send(str(pid).encode())
    running = os.pidfd_open(pid)
    select.select([running, connection.fileno()], [], [])
    if not select.select([running], [], [], 0)[0]:
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    try:
        connection.send(str(os.waitstatus_to_exitcode(status)).encode())
    finally:
        os._exit(0)


def _become(told: dict[str, Any], streams: Sequence[int]) -> str:
    """Take over streams, folder, environment and arguments, as if begun with them."""
    for number, stream in enumerate(streams):
        os.dup2(stream, number)
    for stream in streams:
        os.close(stream)
    os.chdir(told["cwd"])
    os.environ.clear()
    os.environ.update(told["env"])
    time.tzset()
    sys.argv[:] = told["argv"]
    sys.stdin, sys.stdout = os.fdopen(0, encoding="utf-8", closefd=False), _written_to(1, "strict")
    sys.stderr = _written_to(2, "backslashreplace")
    sys.modules["__main__"] = ModuleType("__main__")
    gc.unfreeze()
    return str(told["code"])


def _written_to(number: int, errors: str) -> TextIO:
    """A stream as Python opens it."""
    return os.fdopen(number, "w", 1 if os.isatty(number) or number == 2 else -1, "utf-8", errors, closefd=False)
