"""How people are told, beside MQTT: channels, their least severity, heartbeat, the line of a good day."""

from dataclasses import dataclass
from pathlib import Path

from waaler.core.facts import Severity
from waaler.settings.models import BedFile
from waaler.settings.path_keys import SecretFile
from waaler.settings.telling import WebhookSection

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
    password_file: SecretFile | None = None
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True)
class Webhook:
    """One of url and url_file."""

    name: str
    url: str | None
    url_file: SecretFile | None
    least: Severity


@dataclass(frozen=True, slots=True)
class Push:
    urls_file: SecretFile
    least: Severity


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Without an address it is published to the broker alone."""

    url: str | None
    url_file: SecretFile | None
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
    metrics_file: Path | None = None

    @property
    def is_anything(self) -> bool:
        """Whether there is something for the notifier to do besides MQTT."""
        has_channel = self.mail is not None or bool(self.webhooks) or self.push is not None
        return has_channel or self.heartbeat is not None or self.metrics_file is not None


def messages(file: BedFile, folder: Path) -> Messages:
    """folder: where relative paths begin."""
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
            SecretFile.beside(folder, mail.password_file),
            None if mail.ca_file is None else folder / mail.ca_file,
        ),
        webhooks=tuple(_webhook(hook, folder) for hook in file.webhooks),
        push=None if push is None else Push(_secret(folder, push.urls_file), Severity(push.least)),
        heartbeat=None
        if beat is None
        else Heartbeat(beat.url, SecretFile.beside(folder, beat.url_file), beat.every),
        good_day_min=None if file.good_day is None else file.good_day.minute,
        metrics_file=None if file.metrics_file is None else folder / file.metrics_file,
    )


def _webhook(hook: WebhookSection, folder: Path) -> Webhook:
    return Webhook(hook.name, hook.url, SecretFile.beside(folder, hook.url_file), Severity(hook.least))


def _secret(folder: Path, text: str) -> SecretFile:
    secret = SecretFile.beside(folder, text)
    assert secret is not None
    return secret
