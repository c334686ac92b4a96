"""A mail server on the loopback address, as far as RFC 5321 asks it of one, that keeps what it takes."""

import re
import socketserver
import threading
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP


class MailServer(socketserver.ThreadingTCPServer):
    """It takes messages, or refuses recipients with the replies it is told to."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Session)
        self.taken, self.replies = list[tuple[str, list[str], EmailMessage]](), list[str]()
        self.thread = threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.01})
        self.thread.start()

    @property
    def url(self) -> str:
        """Where it is."""
        return f"smtp://127.0.0.1:{self.server_address[1]}"

    def end(self) -> None:
        """Listen no longer."""
        self.shutdown()
        self.thread.join()
        self.server_close()


class _Session(socketserver.StreamRequestHandler):
    server: MailServer

    def handle(self) -> None:
        """Speak with one client until it leaves."""
        sender, recipients = "", list[str]()
        self._say("220 loopback ESMTP")
        while line := self.rfile.readline(1000).decode("ascii").rstrip("\r\n"):
            verb, _, rest = line.partition(" ")
            match verb.upper():
                case "EHLO" | "HELO":
                    self._say("250-loopback", "250 8BITMIME")
                case "MAIL":
                    sender, recipients = _path(rest), []
                    self._say("250 go on")
                case "RCPT":
                    refusal = self.server.replies.pop(0) if self.server.replies else ""
                    recipients += [] if refusal else [_path(rest)]
                    self._say(refusal or "250 go on")
                case "DATA" if recipients:
                    self._say("354 go on")
                    message = message_from_bytes(self._data(), policy=SMTP)
                    self.server.taken.append((sender, recipients, message))
                    self._say("250 taken")
                case "RSET":
                    sender, recipients = "", []
                    self._say("250 forgotten")
                case "QUIT":
                    self._say("221 bye")
                    return
                case _:
                    self._say("503 not now" if verb.upper() == "DATA" else "502 not known")

    def _data(self) -> bytes:
        lines = []
        while (line := self.rfile.readline(2000)) != b".\r\n":
            assert line.endswith(b"\r\n") and len(line) <= 1000, "a line as RFC 5321 has it"
            lines.append(line[1:] if line.startswith(b".") else line)
        return b"".join(lines)

    def _say(self, *lines: str) -> None:
        self.wfile.write("".join(f"{line}\r\n" for line in lines).encode("ascii"))


def _path(text: str) -> str:
    found = re.search(r"<([^>]*)>", text)
    assert found is not None, text
    return found[1]
