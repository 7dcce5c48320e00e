"""`waaler notify`: tells people and the MQTT broker what happens at the bed."""

import fcntl
import os
import signal
import sys
from pathlib import Path
from types import FrameType

import click

from waaler.cli.common import echo, file_argument, refuse, refuse_faults
from waaler.keeper.logs import log_to
from waaler.notify.places import Places
from waaler.notify.service import Service
from waaler.settings import SettingsError
from waaler.settings.followed import FollowedFile, accepted_file
from waaler.settings.places import bed_id, find, records_file, runtime_folder, socket_file, state_folder

__all__ = ["command", "places_of"]


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
    An edit of the file is taken up by itself; a bad one changes nothing.

    Example: waaler notify terrace.yaml
    """
    parent = os.getppid()
    log_to(log_format)
    followed = _follow(file, records)
    settings = followed.settings
    if settings.mqtt is None and not settings.messages.is_anything:
        echo(f"{settings.id}: nothing to do: the file names nobody; add `mqtt:`, `mail:` or `webhooks:`")
        return
    places = places_of(settings.id, records, socket)

    def is_orphan() -> bool:
        return child and os.getppid() != parent

    try:
        _hold(runtime_folder(settings.id) / f"{settings.id}.notify.lock")
        service = Service(settings, places, is_orphan, followed)
        _serve(service)
    except OSError as problem:
        refuse(f"{settings.id}: cannot notify: {problem}")
    if service.must_begin_again:
        os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])


def _follow(file: Path | None, records: Path | None) -> FollowedFile:
    """The file, or the last text of it that the daemon accepted; ends with 2 and every fault without either."""
    try:
        path = find(file)
        bed = bed_id(path) if records is None else records.stem
        return FollowedFile(path, accepted_file((records or records_file(bed)).parent, bed), bed=bed)
    except SettingsError as problem:
        refuse_faults(problem)


def places_of(bed: str, records: Path | None = None, socket: Path | None = None) -> Places:
    deliveries = state_folder(bed) / f"{bed}.notify.db"
    return Places(records or records_file(bed), deliveries, socket or socket_file(bed))


def _serve(service: Service) -> None:
    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        service.stop()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    service.run()


def _hold(lock: Path) -> None:
    """Two of them would throw each other off the broker for ever. Held until the process ends.

    Raises OSError where another one holds it.
    """
    handle = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise BlockingIOError("another `waaler notify` serves this bed") from None
