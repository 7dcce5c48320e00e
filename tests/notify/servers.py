"""Real servers on loopback for these tests: one that takes mail, one that answers HTTP."""

import socket
import ssl
import threading
from email import message_from_bytes
from email.message import Message
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

__all__ = ["MailServer", "SilentServer", "WebServer", "free_port"]

WAIT_S = 20.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class MailServer:
    """Takes mail. certificate: speaks TLS after STARTTLS, and wants user `bed` with password `right`.

    answers: what it says to the next recipients instead of 250.
    """

    def __init__(self, certificate: Path | None = None, port: int | None = None) -> None:
        self.got: SimpleQueue[tuple[list[str], Message]] = SimpleQueue()
        self.answers: list[str] = []
        options: dict[str, Any] = {}
        if certificate is not None:
            context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
            context.load_cert_chain(f"{certificate}.pem", f"{certificate}.key")
            options = {
                "tls_context": context,
                "require_starttls": True,
                "auth_required": True,
                "authenticator": self._knows,
            }
        self.port = port or free_port()
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port, **options)
        self._controller.start()

    def _knows(self, server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        is_known = isinstance(data, LoginPassword) and (data.login, data.password) == (b"bed", b"right")
        return AuthResult(success=is_known, handled=False)

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, _: Any) -> str:  # noqa: N802
        answer = self.answers.pop(0) if self.answers else "250 OK"
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        self.got.put((list(envelope.rcpt_tos), message_from_bytes(envelope.content, policy=default)))
        return "250 taken"

    def close(self) -> None:
        self._controller.stop()


class WebServer:
    """Answers what `codes` says, else 204, and keeps what it was sent."""

    def __init__(self) -> None:
        self.got: SimpleQueue[tuple[str, str, bytes, str]] = SimpleQueue()
        self.codes: list[int] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                outer.got.put((self.command, self.path, body, self.headers.get("Content-Type", "")))
                code = outer.codes.pop(0) if outer.codes else 204
                self.send_response(code)
                if code == 302:
                    self.send_header("Location", "/elsewhere")
                self.end_headers()

            do_GET = do_POST  # noqa: N815

            def log_message(self, *_: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


class SilentServer:
    """Takes connections and never says a word."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])

    def close(self) -> None:
        self._listener.close()
