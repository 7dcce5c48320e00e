"""Whom to tell, by which channel, and when: the sections as the file writes them."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from waaler.settings.fields import Count, Duration, PlainText
from waaler.settings.section import Section, between, misfit

__all__ = [
    "LOOPBACK", "CareSection", "ContactSection", "HeartbeatSection", "MailSection", "MqttSection", "PushSection",
    "WebhookSection",
]  # fmt: skip

Least = Literal["urgent", "soon", "note"]
LOOPBACK = ("localhost", "127.0.0.1", "::1")
Port = Annotated[Count, between(1, 65_535, "")]


class ContactSection(Section):
    """Somebody to call; the first one first, each next one after an hour in which nobody acknowledged."""

    name: PlainText
    call: PlainText | None = None
    mail: PlainText | None = None

    @model_validator(mode="after")
    def _is_address(self) -> "ContactSection":
        if self.mail is not None and not _looks_like_address(self.mail):
            raise misfit(f"'{self.mail}' is no mail address", "write name@example.org")
        return self


class CareSection(Section):
    """When pump and filter are due for cleaning, and the solution for being made anew."""

    clean_after: Annotated[Duration, between(3600, 3_600_000, "h", 3600)] = 30 * 3600.0
    clean_after_starts: Annotated[Count, between(10, 100_000, "starts")] = 500
    renew_after: Annotated[Duration, between(86_400, 86_400 * 120, "h", 3600)] = 21 * 86_400.0


class MailSection(Section):
    """The server that takes mail for the contacts that have an address."""

    host: PlainText
    port: Port = 587
    security: Literal["starttls", "tls", "none"] = "starttls"
    user: PlainText | None = None
    password_file: PlainText | None = None
    ca_file: PlainText | None = None
    sender: PlainText = Field(alias="from")
    least: Least = "soon"

    @model_validator(mode="after")
    def _is_safe(self) -> "MailSection":
        if not _looks_like_address(self.sender):
            raise misfit(f"'{self.sender}' is no mail address", "write name@example.org")
        if self.security == "none" and self.user is not None:
            raise misfit("a password would travel without TLS", "write security: starttls, or leave user out")
        return self


class WebhookSection(Section):
    """An address that takes each message as JSON; url_file where the address itself is secret."""

    name: PlainText = "webhook"
    url: PlainText | None = None
    url_file: PlainText | None = None
    least: Least = "soon"

    @model_validator(mode="after")
    def _is_one(self) -> "WebhookSection":
        if (self.url is None) == (self.url_file is None):
            raise misfit("a webhook needs one address", "write url: https://..., or url_file: FILE")
        _check_web(self.url)
        return self


class PushSection(Section):
    """A file with one address of the notification library a line; needs `pip install "waaler[push]"`."""

    urls_file: PlainText
    least: Least = "urgent"


class HeartbeatSection(Section):
    """Called at an interval while all is alive, so that an outside monitor notices silence."""

    url: PlainText | None = None
    url_file: PlainText | None = None
    every: Annotated[Duration, between(30, 86_400, "min", 60)] = 300.0

    @model_validator(mode="after")
    def _is_one(self) -> "HeartbeatSection":
        if self.url is not None and self.url_file is not None:
            raise misfit("a heartbeat has one address", "write url: or url_file:, or neither for MQTT alone")
        _check_web(self.url)
        return self


class MqttSection(Section):
    """The broker that `waaler notify` publishes to."""

    host: PlainText
    port: Port = 1883
    user: PlainText | None = None
    password_file: PlainText | None = None
    ca_file: PlainText | None = None
    certificate_file: PlainText | None = None
    key_file: PlainText | None = None
    plain: Literal["accepted"] | None = None
    commands: Literal["off", "on"] = "off"

    @model_validator(mode="after")
    def _is_safe(self) -> "MqttSection":
        has_password = self.user is not None or self.password_file is not None
        if has_password and self.ca_file is None and self.host not in LOOPBACK and self.plain is None:
            raise misfit("a password would travel without TLS", "add ca_file:, or plain: accepted to let it")
        is_ours = self.ca_file is not None and (self.user is not None or self.certificate_file is not None)
        if self.commands == "on" and self.host not in LOOPBACK and not is_ours:
            raise misfit(
                "commands over a broker that anybody can write to",
                "add ca_file: and either user: or certificate_file:, or leave commands out",
            )
        return self


def _looks_like_address(text: str) -> bool:
    name, at, host = text.rpartition("@")
    return bool(name and at and host) and not any(letter.isspace() or letter in '<>,;"' for letter in text)


def _check_web(url: str | None) -> None:
    if url is not None and not url.startswith(("https://", "http://")):
        raise misfit("this is no web address", "begin it with https://")
