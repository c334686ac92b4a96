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
