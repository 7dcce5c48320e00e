"""Mail to the contacts that have an address."""

import smtplib
import ssl
from collections.abc import Sequence
from email.message import EmailMessage
from email.utils import format_datetime, localtime

from waaler.core.facts import Severity
from waaler.notify.channels import WAIT_S, NotNow, NotThis
from waaler.notify.note import Note
from waaler.notify.secrets import credential, read_secret
from waaler.settings.messages import Mail, Person

__all__ = ["MailChannel"]

PERMANENT = 500


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
        try:
            self._deliver(_message(note, self._mail.sender, to), to)
        except smtplib.SMTPRecipientsRefused as problem:
            raise _judged(*next(iter(problem.recipients.values()))) from None
        except smtplib.SMTPAuthenticationError as problem:
            raise NotNow(f"the server refuses user or password ({problem.smtp_code})") from None
        except smtplib.SMTPResponseException as problem:
            raise _judged(problem.smtp_code, problem.smtp_error) from None
        except (smtplib.SMTPException, OSError) as problem:
            raise NotNow(str(problem) or type(problem).__name__) from None

    def _recipients(self, note: Note) -> list[str]:
        """Those whose turn it is or was; where none of them has an address, everybody who has one."""
        count = note.person + 1 if note.severity is Severity.URGENT else 1
        near = [person.mail for person in self._people[:count] if person.mail is not None]
        return near or [person.mail for person in self._people if person.mail is not None]

    def _deliver(self, message: EmailMessage, to: list[str]) -> None:
        mail = self._mail
        context = ssl.create_default_context(cafile=mail.ca_file)
        if mail.security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(mail.host, mail.port, timeout=WAIT_S, context=context)
        else:
            server = smtplib.SMTP(mail.host, mail.port, timeout=WAIT_S)
        with server:
            if mail.security == "starttls":
                server.starttls(context=context)
            if mail.user is not None:
                server.login(mail.user, read_secret(mail.password_file or credential("mail-password")))
            server.send_message(message, mail.sender, to)


def _message(note: Note, sender: str, to: list[str]) -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = sender, ", ".join(to), note.subject
    message["Date"] = format_datetime(localtime())
    message["Message-ID"] = f"<{note.id}@{sender.rpartition('@')[2]}>"
    message["Auto-Submitted"] = "auto-generated"
    if note.severity is Severity.URGENT:
        message["Importance"] = "high"
    message.set_content(note.body)
    return message


def _judged(code: int, text: bytes | str) -> NotNow | NotThis:
    """RFC 5321: 4yz may pass later, 5yz will not."""
    said = text.decode(errors="replace") if isinstance(text, bytes) else text
    reason = f"the server says {code} {said}"[:200]
    return NotThis(reason) if code >= PERMANENT else NotNow(reason)
