"""The ways to people: try them, and see what waits or was refused."""

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import echo, echo_json, file_argument, json_option, read_settings, refuse

if TYPE_CHECKING:
    from waaler.settings import Settings

__all__ = ["command"]


@click.command("alert")
@click.option("--test", "is_test", is_flag=True, help="Send a test through each channel and tell what came of it.")
@json_option
@file_argument
def command(is_test: bool, as_json: bool, file: Path | None) -> None:
    """Tell through which channels people are told, what waits there, and what a server refused and why.

    With --test a harmless message goes through each of them; the exit is 1 if one fails.

    Example: waaler alert --test
    """
    settings = read_settings(file)
    if settings.mqtt is None and not settings.messages.is_anything:
        refuse(f"{settings.id}: the file names nobody to tell; add `mqtt:`, `mail:` or `webhooks:`")
    found = list(_tried(settings) if is_test else _places(settings))
    if as_json:
        echo_json({"bed": settings.id, "channels": found})
    else:
        for one in found:
            echo("\n".join(_lines(one)))
    sys.exit(0 if all(one.get("ok", True) for one in found) else 1)


def _lines(one: dict[str, Any]) -> Iterator[str]:
    if "ok" in one:
        yield f"  {one['channel']}: {'delivered' if one['ok'] else 'FAILED: ' + one['reason']}"
        return
    yield f"  {one['channel']}: {one['waiting']} waiting"
    for parked in one["parked"][-5:]:
        yield f"    refused: message {parked['number']}: {parked['reason']}"


def _tried(settings: "Settings") -> Iterator[dict[str, Any]]:
    from waaler.notify.channels import NotNow, NotThis
    from waaler.notify.note import test_note
    from waaler.notify.service import channels
    from waaler.report.bed import Bed

    note = test_note(settings.id, settings.title, time.time(), Bed.of(settings).zone)
    if settings.mqtt is not None:
        yield _tried_broker(settings)
    for channel in channels(settings.messages):
        try:
            channel.send(note)
        except (NotNow, NotThis) as problem:
            yield {"channel": channel.name, "ok": False, "reason": str(problem)}
        else:
            yield {"channel": channel.name, "ok": True, "reason": ""}


def _tried_broker(settings: "Settings") -> dict[str, Any]:
    """Connects beside the notifier that runs, under another name, and publishes what nobody keeps."""
    from waaler.notify.service import broker_of
    from waaler.notify.trial import trial

    assert settings.mqtt is not None
    try:
        reason = trial(broker_of(settings.mqtt), settings.id)
    except OSError as problem:
        reason = str(problem)
    return {"channel": "mqtt", "ok": reason is None, "reason": reason or ""}


def _places(settings: "Settings") -> Iterator[dict[str, Any]]:
    from waaler.cli.notify import places_of
    from waaler.notify.deliveries import Deliveries
    from waaler.notify.service import channels
    from waaler.records.reader import Reader
    from waaler.records.schema import StoreError

    places = places_of(settings.id)
    names = [*(["mqtt"] if settings.mqtt is not None else []), *(one.name for one in channels(settings.messages))]
    try:
        with Reader(places.database) as reader:
            for name in names:
                deliveries = Deliveries(places.deliveries, name)
                place = deliveries.place(reader.name) or 0
                parked = [{"number": number, "reason": reason} for number, reason in deliveries.parked()]
                held = len(deliveries.held(reader.name))
                deliveries.close()
                yield {"channel": name, "waiting": reader.waiting(place) + held, "parked": parked}
    except StoreError as problem:
        refuse(str(problem))
