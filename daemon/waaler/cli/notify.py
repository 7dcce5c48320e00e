"""`waaler notify`: tells people and the MQTT broker what happens at the bed."""

import fcntl
import os
import signal
from contextlib import suppress
from pathlib import Path
from types import FrameType

import click

from waaler.cli.common import echo, file_argument, read_settings, refuse
from waaler.keeper.logs import log_to
from waaler.notify.broker import Broker
from waaler.notify.places import Places
from waaler.notify.secrets import credential, read_secret
from waaler.notify.service import Service
from waaler.settings import Mqtt
from waaler.settings.places import records_file, runtime_folder, socket_file, state_folder

__all__ = ["broker_of", "command", "places_of"]


@click.command("notify")
@click.option("--log", "log_format", type=click.Choice(["console", "json"]), default="console", show_default=True)
@click.option("--records", type=click.Path(path_type=Path), help="The daemon's records, if it is another user's.")
@click.option("--socket", type=click.Path(path_type=Path), help="The daemon's control socket, likewise.")
@click.option("--child", is_flag=True, hidden=True, help="End with the process that started this one.")
@file_argument
def command(log_format: str, records: Path | None, socket: Path | None, child: bool, file: Path | None) -> None:
    """Tell people and the MQTT broker of the file what happens at the bed, until stopped.

    Mail, webhooks and push as the file says, each with its own place in the queue; `alert --test` tries them.
    Where the file names no `password_file:`, the service manager's credential `mqtt-password` is the password.

    Example: waaler notify terrace.yaml
    """
    parent = os.getppid()
    log_to(log_format)
    settings = read_settings(file)
    if settings.mqtt is None and not settings.messages.is_anything:
        echo(f"{settings.id}: nothing to do: the file names nobody; add `mqtt:`, `mail:` or `webhooks:`")
        return
    places = places_of(settings.id, records, socket)

    def is_orphan() -> bool:
        return child and os.getppid() != parent

    try:
        _hold(runtime_folder(settings.id) / f"{settings.id}.notify.lock")
        broker = None if settings.mqtt is None else broker_of(settings.mqtt)
        _serve(Service(settings, places, broker, is_orphan))
    except OSError as problem:
        refuse(f"{settings.id}: cannot notify: {problem}")


def places_of(bed: str, records: Path | None = None, socket: Path | None = None) -> Places:
    deliveries = state_folder(bed) / f"{bed}.notify.db"
    return Places(records or records_file(bed), deliveries, socket or socket_file(bed))


def _serve(service: Service) -> None:
    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        service.stop()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    service.run()


def broker_of(mqtt: Mqtt) -> Broker:
    """Raises OSError for a password file that cannot be read."""
    password = None if mqtt.password_file is None else read_secret(mqtt.password_file)
    if password is None:
        with suppress(OSError):  # the unit hands over an empty one where there is none
            password = read_secret(credential("mqtt-password"))
    return Broker(
        mqtt.host,
        mqtt.port,
        mqtt.user,
        password,
        mqtt.ca_file,
        mqtt.certificate_file,
        mqtt.key_file,
        has_commands=mqtt.has_commands,
    )


def _hold(lock: Path) -> None:
    """Two of them would throw each other off the broker for ever. Held until the process ends.

    Raises OSError where another one holds it.
    """
    handle = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise BlockingIOError("another `waaler notify` serves this bed") from None
