"""A server that is sent what changed or what an audit came to, and how such a message is signed."""

import hmac
import http.server
import threading
from base64 import b64decode, b64encode

SECRET = "whsec_" + b64encode(bytes(range(32))).decode()
OLDER = "whsec_" + b64encode(b"the one before, of 28 bytes.").decode()


class Receiver(http.server.ThreadingHTTPServer):
    """A shop's own server: it keeps what it is sent, and answers as it is told."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.taken, self.statuses = list[tuple[str, dict[str, str], bytes]](), list[int]()
        self.thread = threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.01})
        self.thread.start()

    def url(self, path: str = "/") -> str:
        """An address of this server's."""
        return f"http://127.0.0.1:{self.server_port}{path}"

    def end(self) -> None:
        """Listen no longer."""
        self.shutdown()
        self.thread.join()
        self.server_close()


class _Handler(http.server.BaseHTTPRequestHandler):
    server: Receiver

    def do_POST(self) -> None:
        """Take a message, or refuse it."""
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.taken.append((self.path, {name.lower(): one for name, one in self.headers.items()}, body))
        self.send_response(self.server.statuses.pop(0) if self.server.statuses else 204)
        self.send_header("Location", self.server.url("/elsewhere"))
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


def is_signed(headers: dict[str, str], body: bytes, secret: str) -> bool:
    """Compare as a receiver does that knows nothing but the specification."""
    text = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    wanted = b64encode(hmac.new(b64decode(secret.removeprefix("whsec_")), text, "sha256").digest()).decode()
    return any(hmac.compare_digest(one, f"v1,{wanted}") for one in headers["webhook-signature"].split())
