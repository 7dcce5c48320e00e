"""`waaler notify`: tells the MQTT broker of the file what happens at the bed."""

import fcntl
import os
import signal
from pathlib import Path
from types import FrameType
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import file_argument, read_settings, refuse
from waaler.keeper.logs import log_to
from waaler.notify.broker import Broker, Stop
from waaler.notify.follower import Follower, Places
from waaler.settings import Mqtt
from waaler.settings.places import runtime_folder, state_folder

__all__ = ["command"]


@click.command("notify")
@click.option("--log", "log_format", type=click.Choice(["console", "json"]), default="console", show_default=True)
@click.option("--child", is_flag=True, hidden=True, help="End with the process that started this one.")
@file_argument
def command(log_format: str, child: bool, file: Path | None) -> None:
    """Publish runs, alerts, status and readings to the MQTT broker of the file, until stopped."""
    parent = os.getppid()
    log_to(log_format)
    settings = read_settings(file)
    if settings.mqtt is None:
        click.echo(f"{settings.id}: nothing to do: the file names no broker; add `mqtt:` with its `host:`")
        return
    state, runtime = state_folder(settings.id), runtime_folder(settings.id)
    places = Places(
        state / f"{settings.id}.db", state / f"{settings.id}.notify.db", runtime / f"{settings.id}.sock"
    )
    zone = ZoneInfo(settings.plan.place.timezone)

    def is_orphan() -> bool:
        return child and os.getppid() != parent

    try:
        _hold(runtime / f"{settings.id}.notify.lock")
        _follow(Follower(settings.id, zone, places, _broker(settings.mqtt), is_orphan))
    except OSError as problem:
        refuse(f"{settings.id}: cannot notify: {problem}")


def _follow(follower: Follower) -> None:
    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        follower.news.put(Stop())

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    follower.run()


def _broker(mqtt: Mqtt) -> Broker:
    """Raises OSError for a password file that cannot be read."""
    password = None
    if mqtt.password_file is not None:
        with Path(mqtt.password_file).open(encoding="utf-8") as file:
            password = file.readline().rstrip("\r\n")
    return Broker(mqtt.host, mqtt.port, mqtt.user, password, mqtt.ca_file, mqtt.certificate_file, mqtt.key_file)


def _hold(lock: Path) -> None:
    """Two of them would throw each other off the broker for ever. Held until the process ends.

    Raises OSError where another one holds it.
    """
    handle = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise BlockingIOError("another `waaler notify` serves this bed") from None
