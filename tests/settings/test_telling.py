"""Whom to tell and how, as the file writes it."""

from datetime import date
from pathlib import Path

import pytest
from tests.settings.test_reading import settings

from waaler.bed.ledger import Tank
from waaler.core.care import Contact, Quiet
from waaler.core.facts import Severity
from waaler.settings import SettingsError
from waaler.settings.messages import Mail, Person, Push, Webhook
from waaler.settings.path_keys import SecretFile
from waaler.settings.warnings import warnings


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("contacts: [{name: Ann, mail: ann}]", "'ann' is no mail address; write name@example.org"),
        ("contacts: [{call: '1'}]", "'name' is missing"),
        ("mail: {host: m.example.org, from: ann}", "'ann' is no mail address"),
        (
            "mail: {host: m.example.org, from: 'a@b', security: none, user: a}",
            "a password would travel without TLS",
        ),
        ("mail: {host: m.example.org, from: 'a@b', least: loud}", "write 'urgent', 'soon' or 'note'"),
        ("webhooks: [{name: hook}]", "a webhook needs one address; write url: https://..., or url_file: FILE"),
        ("webhooks: [{url: 'https://a', url_file: b}]", "a webhook needs one address"),
        ("webhooks: [{url: ftp://a}]", "this is no web address; begin it with https://"),
        ("heartbeat: {url: 'https://a', url_file: b}", "a heartbeat has one address"),
        ("heartbeat: {every: 10 s}", "outside 0.5 to 1440 min"),
        ('quiet_hours: ["22:00"]', "this list has the wrong length"),
        ("quiet_hours: [sunset, sunrise]", "'sunset' cannot be read here"),
        ("good_day: noon", "'noon' cannot be read here"),
        ("care: {clean_after: 1 min}", "outside 1 to 1000 h"),
        (
            "mqtt: {host: broker.example.org, user: a, password_file: pw}",
            "a password would travel without TLS; add ca_file:, or plain: accepted to let it",
        ),
        ("mqtt: {host: localhost.evil.example, user: a}", "a password would travel without TLS"),
        ("mqtt: {host: broker.example.org, password_file: pw}", "a password would travel without TLS"),
        ("mqtt: {host: broker.example.org, plain: yes}", "write 'accepted'"),
        ("mqtt: {host: broker.example.org, commands: on}", "commands over a broker that anybody can write to"),
        ("mqtt: {host: broker.example.org, ca_file: ca.pem, commands: on}", "add ca_file: and either user:"),
    ],
)
def test_what_makes_no_sense_says_what_to_write(text: str, part: str) -> None:
    with pytest.raises(SettingsError) as refusal:
        settings(text)

    assert part in str(refusal.value)


def test_without_a_word_nobody_is_told_and_no_command_is_taken() -> None:
    found = settings("")

    assert not found.messages.is_anything
    assert (found.care.contacts, found.care.quiet) == ((), None)
    assert settings("mqtt: {host: broker.example.org}").mqtt.has_commands is False  # type: ignore[union-attr]


def test_people_channels_and_hours_are_read() -> None:
    found = settings(
        """\
contacts:
  - {name: Ann, call: "+386 40 111 222", mail: ann@example.org}
  - {name: Bor}
quiet_hours: ["22:00", "06:30"]
mail: {host: m.example.org, from: bed@example.org, user: bed, password_file: mail-password}
webhooks: [{url_file: hook, least: urgent}]
push: {urls_file: push}
heartbeat: {url: "https://beat.example.org/x", every: 5 min}
good_day: "20:30"
care: {clean_after: 50 h, renew_after: 14 d}
"""
    )

    assert found.care.contacts == (Contact("Ann", "+386 40 111 222"), Contact("Bor", ""))
    assert found.care.quiet == Quiet(1320, 390)
    assert (found.care.clean_after_s, found.care.renew_after_days) == (180_000.0, 14.0)
    told = found.messages
    assert told.people == (Person("Ann", "+386 40 111 222", "ann@example.org"), Person("Bor", "", None))
    assert told.mail == Mail(
        "m.example.org",
        587,
        "starttls",
        "bed@example.org",
        Severity.SOON,
        "bed",
        SecretFile(Path("mail-password"), "mail-password"),
    )
    assert told.webhooks == (Webhook("webhook", None, SecretFile(Path("hook"), "hook"), Severity.URGENT),)
    assert told.push == Push(SecretFile(Path("push"), "push"), Severity.URGENT)
    assert told.heartbeat is not None
    assert told.heartbeat.every_s == 300.0
    assert told.good_day_min == 1230


def test_commands_are_taken_from_our_own_broker_or_over_tls_from_somebody_known() -> None:
    for text in ("host: localhost", "host: b.example.org, ca_file: ca.pem, user: bed"):
        mqtt = settings(f"mqtt: {{{text}, commands: on}}").mqtt
        assert mqtt is not None
        assert mqtt.has_commands


def test_the_drink_of_the_forecast_is_that_of_crops_and_weather() -> None:
    from datetime import date

    plain = settings("").book
    assert plain.drink_l is not None
    assert plain.drink_l(date(2026, 6, 21)) == pytest.approx(14 * 1.2)
    assert settings("top_up: {tank: 100 L, holds: solution}\nfeed: {ec: 1.8}").book.tank == Tank(100.0, 1.8)


@pytest.mark.parametrize(
    ("text", "warned"),
    [
        ("host: b.example.org, user: bed, plain: accepted", ["the broker's password travels without TLS"]),
        ("host: b.example.org, user: bed, ca_file: ca.pem", []),
        ("host: 127.0.0.1, user: bed", []),
    ],
)
def test_a_password_travels_with_tls_or_by_an_explicit_word_which_check_repeats(
    text: str, warned: list[str]
) -> None:
    told = [str(one) for one in warnings(settings(f"mqtt: {{{text}}}"), date(2026, 6, 21))]

    found = [one for one in told if "travels without TLS" in one]
    assert len(found) == len(warned)
    assert all(part in one for part, one in zip(warned, found, strict=True))
