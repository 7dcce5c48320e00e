"""How people are told, beside MQTT: channels, their least severity, heartbeat, the line of a good day."""

from dataclasses import dataclass

from waaler.core.facts import Severity
from waaler.settings.models import BedFile

__all__ = ["Heartbeat", "Mail", "Messages", "Person", "Push", "Webhook", "messages"]


@dataclass(frozen=True, slots=True)
class Person:
    """mail None: no address."""

    name: str
    call: str
    mail: str | None


@dataclass(frozen=True, slots=True)
class Mail:
    """security: `starttls`, `tls` or `none`. password_file: its first line is the password."""

    host: str
    port: int
    security: str
    sender: str
    least: Severity
    user: str | None = None
    password_file: str | None = None
    ca_file: str | None = None


@dataclass(frozen=True, slots=True)
class Webhook:
    """One of url and url_file."""

    name: str
    url: str | None
    url_file: str | None
    least: Severity


@dataclass(frozen=True, slots=True)
class Push:
    urls_file: str
    least: Severity


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Without an address it is published to the broker alone."""

    url: str | None
    url_file: str | None
    every_s: float


@dataclass(frozen=True, slots=True)
class Messages:
    """good_day_min: minutes after midnight, None for no such line. metrics_file: for a collector of text files."""

    people: tuple[Person, ...] = ()
    mail: Mail | None = None
    webhooks: tuple[Webhook, ...] = ()
    push: Push | None = None
    heartbeat: Heartbeat | None = None
    good_day_min: int | None = None
    metrics_file: str | None = None

    @property
    def is_anything(self) -> bool:
        """Whether there is something for the notifier to do besides MQTT."""
        has_channel = self.mail is not None or bool(self.webhooks) or self.push is not None
        return has_channel or self.heartbeat is not None or self.metrics_file is not None


def messages(file: BedFile) -> Messages:
    mail, push, beat = file.mail, file.push, file.heartbeat
    return Messages(
        people=tuple(Person(one.name, one.call or "", one.mail) for one in file.contacts),
        mail=None
        if mail is None
        else Mail(
            mail.host,
            mail.port,
            mail.security,
            mail.sender,
            Severity(mail.least),
            mail.user,
            mail.password_file,
            mail.ca_file,
        ),
        webhooks=tuple(Webhook(hook.name, hook.url, hook.url_file, Severity(hook.least)) for hook in file.webhooks),
        push=None if push is None else Push(push.urls_file, Severity(push.least)),
        heartbeat=None if beat is None else Heartbeat(beat.url, beat.url_file, beat.every),
        good_day_min=None if file.good_day is None else file.good_day.minute,
        metrics_file=file.metrics_file,
    )
