"""Mail to the contacts that have an address."""

import smtplib
import socket
import ssl
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from email.message import EmailMessage
from email.utils import format_datetime, localtime
from typing import Any

from waaler.core.facts import Severity
from waaler.notify.channels import WAIT_S, NotNow, NotThis, Refused
from waaler.notify.deadline import TOTAL_S, Deadline
from waaler.notify.note import Note
from waaler.notify.secrets import credential, read_secret
from waaler.settings.messages import Mail, Person
from waaler.settings.outside_file import bytes_of
from waaler.visible import one_line

__all__ = ["MailChannel"]

PERMANENT, READY = 500, 220
FAREWELL_S = 2.0
MOST_ANSWER_BYTES = 64 * 1024
MOST_CERTIFICATE_BYTES = 1024 * 1024


class MailChannel:
    """The password is read anew for each message, so that a new one needs no restart."""

    name = "mail"

    def __init__(self, mail: Mail, people: Sequence[Person]) -> None:
        self.least = mail.least
        self._mail, self._people = mail, people

    def send(self, note: Note) -> None:
        to = self._recipients(note)
        if not to:
            raise NotThis("no contact has a mail address")
        message = _message(note, self._mail.sender, to)
        with self._connected() as server:
            server.send_message(message, self._mail.sender, to)

    def probe(self) -> None:
        with self._connected() as server:
            server.noop()

    def _recipients(self, note: Note) -> list[str]:
        """Those whose turn it is or was; where none of them has an address, everybody who has one."""
        count = note.person + 1 if note.severity is Severity.URGENT else 1
        near = [person.mail for person in self._people[:count] if person.mail is not None]
        return near or [person.mail for person in self._people if person.mail is not None]

    @contextmanager
    def _connected(self) -> Iterator[smtplib.SMTP]:
        """A server that has let us in. Whatever is raised becomes NotNow or NotThis, without the password.

        How the server takes leave is nobody's business: what it accepted is delivered.
        """
        secrets: list[str] = []
        with Deadline(TOTAL_S) as deadline:
            server: smtplib.SMTP | None = None
            try:
                server = self._open(deadline, secrets)
                yield server
                _take_leave(server)
            except Exception as problem:
                raise _refusal(problem, deadline, secrets) from None
            finally:
                if server is not None:
                    server.close()

    def _open(self, deadline: Deadline, secrets: list[str]) -> smtplib.SMTP:
        """secrets: takes what must not come back in a reason."""
        mail = self._mail
        if mail.ca_file is not None:
            bytes_of(mail.ca_file, MOST_CERTIFICATE_BYTES)  # a pipe would hang the library
        context = ssl.create_default_context(cafile=mail.ca_file)
        server = _TlsServer(deadline, context) if mail.security == "tls" else _Server(deadline)
        try:
            server.greeted(mail.host, mail.port)
            if mail.security == "starttls":
                server.starttls(context=context)
            if mail.user is not None:
                password = read_secret(mail.password_file or credential("mail-password"))
                secrets += [password, f"\0{mail.user}\0{password}"]
                server.login(mail.user, password)
        except BaseException:
            server.close()
            raise
        return server


def _take_leave(server: smtplib.SMTP) -> None:
    """A message that was accepted stays so, whatever comes back."""
    with suppress(Exception):
        if server.sock is not None:
            server.sock.settimeout(FAREWELL_S)
        server.quit()


class _Server(smtplib.SMTP):
    """Connects through the deadline, and reads no more of an answer than a server may say."""

    def __init__(self, deadline: Deadline) -> None:
        self._deadline = deadline
        super().__init__(timeout=WAIT_S, local_hostname=_own_name())

    def greeted(self, host: str, port: int) -> None:
        """Raises OSError and SMTPException unless a mail server says hello."""
        self._host = host  # of the certificate; `connect` alone leaves it empty
        code, said = self.connect(host, port)
        if code != READY:
            raise smtplib.SMTPConnectError(code, said)

    def _get_socket(self, host: str, port: int, timeout: float) -> Any:
        return self._deadline.connect((host, port), timeout)

    def getreply(self) -> tuple[int, bytes]:
        if self.file is None:
            assert self.sock is not None
            self.file = _Bounded(self.sock.makefile("rb"))
        self.file.left = MOST_ANSWER_BYTES
        return super().getreply()


class _TlsServer(smtplib.SMTP_SSL, _Server):
    """The same, with TLS from the first byte."""

    def __init__(self, deadline: Deadline, context: ssl.SSLContext) -> None:
        self._deadline = deadline
        smtplib.SMTP_SSL.__init__(self, timeout=WAIT_S, context=context, local_hostname=_own_name())


def _own_name() -> str:
    """For the greeting. The library would ask the network for it, without a deadline."""
    name = socket.gethostname()
    return name if "." in name else "[127.0.0.1]"


class _Bounded:
    """Lines of one answer, `left` bytes of them in all."""

    def __init__(self, file: Any) -> None:
        self._file, self.left = file, MOST_ANSWER_BYTES

    def readline(self, most: int) -> bytes:
        line: bytes = self._file.readline(most)
        self.left -= len(line)
        if self.left < 0:
            raise OSError("the server says more than a mail server has to say")
        return line

    def close(self) -> None:
        self._file.close()


def _message(note: Note, sender: str, to: list[str]) -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = sender, ", ".join(to), one_line(note.subject)
    message["Date"] = format_datetime(localtime())
    message["Message-ID"] = f"<{note.id}@{sender.rpartition('@')[2]}>"
    message["Auto-Submitted"] = "auto-generated"
    if note.severity is Severity.URGENT:
        message["Importance"] = "high"
    message.set_content(note.body)
    return message


def _refusal(problem: Exception, deadline: Deadline, secrets: Sequence[str]) -> Refused:
    if isinstance(problem, Refused):
        return problem
    if deadline.is_over:
        return NotNow(f"no end of the server's answers within {TOTAL_S:.0f} s")
    match problem:
        case smtplib.SMTPRecipientsRefused(recipients=recipients):
            return _judged(*next(iter(recipients.values())), secrets)
        case smtplib.SMTPAuthenticationError(smtp_code=code):
            return NotNow(f"the server refuses user or password ({code})")
        case smtplib.SMTPResponseException(smtp_code=code, smtp_error=said):
            return _judged(code, said, secrets)
        case smtplib.SMTPException() | OSError():
            return NotNow(str(problem) or type(problem).__name__, secrets)
        case UnicodeError():
            return NotNow("the server's way to log in takes no password beyond ASCII, or an address holds more")
        case _:
            return NotNow(f"the message cannot be sent ({type(problem).__name__})")


def _judged(code: int, text: bytes | str, secrets: Sequence[str]) -> Refused:
    """RFC 5321: 4yz may pass later, 5yz will not."""
    said = text.decode(errors="replace") if isinstance(text, bytes) else text
    return (NotThis if code >= PERMANENT else NotNow)(f"the server says {code} {said}", secrets)
