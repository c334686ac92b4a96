"""A process of Python that carries out what it is sent, line by line, for tests that end it at a step of its work."""

import subprocess
import sys


def driven(code: str) -> "subprocess.Popen[str]":
    """Begin a process that runs this code, reads lines and writes lines."""
    return subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )


_STEPPED = """
import json, os, sys
{prepare}
for line in sys.stdin:
    last, command = json.loads(line)
    read, write = os.pipe()
    child = os.fork()
    if not child:
        done = 0
        def step(*_):
            global done
            if done == last:
                os._exit(9)
            done += 1
        {count}
        os.dup2(2, 1)
        code = main(command)
        os.write(write, str(done).encode())
        os._exit(code)
    os.close(write)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    print(json.dumps([code, int(os.read(read, 20) or -1)]), flush=True)
    os.close(read)
"""
ENDED = 9
"""With what a command ends that is ended at a step."""


def stepped(prepare: str, count: str) -> str:
    """Code for `driven` that carries out the command of each line, `[last, command]`, in a process of its own.

    That ends outright where it would take the step with the number `last`. `prepare` imports what it needs, `main`
    among it, and the statement `count` has `step` called at each step. Told is with what it ended, after how many.
    """
    return _STEPPED.format(prepare=prepare, count=count)
