"""All that the notifier does for a bed: a thread for each channel, the heartbeat, the metrics, the broker."""

import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from threading import Event

import structlog

from waaler.notify.broker import Broker, Stop
from waaler.notify.channels import Channel
from waaler.notify.courier import Courier, Round
from waaler.notify.follower import Follower
from waaler.notify.good_day import good_day
from waaler.notify.heartbeat import Beat
from waaler.notify.listener import Listener
from waaler.notify.mail import MailChannel
from waaler.notify.metrics_file import MetricsFile
from waaler.notify.places import Places
from waaler.notify.push import PushChannel
from waaler.notify.secrets import credential, read_secret
from waaler.notify.webhook import WebhookChannel
from waaler.records.reader import Reader
from waaler.records.schema import StoreError
from waaler.report.bed import Bed
from waaler.settings import Mqtt, Settings
from waaler.settings.followed import FollowedFile
from waaler.settings.messages import Messages

__all__ = ["Service", "broker_of", "channels"]

END_WAIT_S = 1.0
LOOK_EVERY_S = 1.0

log = structlog.get_logger()


def channels(messages: Messages) -> Iterator[Channel]:
    """Those of the file, MQTT left out."""
    if messages.mail is not None:
        yield MailChannel(messages.mail, messages.people)
    for hook in messages.webhooks:
        yield WebhookChannel(hook)
    if messages.push is not None:
        yield PushChannel(messages.push)


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


class Service:
    """Belongs to the thread that makes it. must_end: asked about once a second; followed: then too, for an edit.

    must_begin_again: it ended because the file names other channels; a new process takes those up.

    Raises OSError for a password file that cannot be read.
    """

    def __init__(
        self,
        settings: Settings,
        places: Places,
        must_end: Callable[[], bool],
        followed: FollowedFile | None = None,
    ) -> None:
        self.must_begin_again = False
        self._settings, self._places, self._must_end, self._followed = settings, places, must_end, followed
        self._ending = Event()
        self._listener = Listener(places.control, self._ending)
        self._couriers = [Courier(one, self._round(), self._ending) for one in channels(settings.messages)]
        for courier in self._couriers:
            self._listener.wakes.append(courier.wake)
        self._metrics: MetricsFile | None = None
        self._follower: Follower | None = None
        if settings.mqtt is not None:
            zone, broker = Bed.of(settings).zone, broker_of(settings.mqtt)
            self._follower = Follower(
                settings.id, zone, places, broker, self._listener, self._is_over, self._day_line
            )

    def stop(self) -> None:
        """From any thread, or a signal."""
        self._ending.set()
        if self._follower is not None:
            self._follower.news.put(Stop())

    def run(self) -> None:
        """Until told to stop. Raises OSError for a certificate or key that cannot be read."""
        self._start_threads()
        if self._follower is not None:
            self._follower.run()
        else:
            while not (self._ending.wait(LOOK_EVERY_S) or self._is_over()):
                pass
        self._ending.set()
        for thread in self._couriers:
            thread.wake()
            thread.join(timeout=END_WAIT_S)

    def _start_threads(self) -> None:
        for courier in self._couriers:
            courier.start()
        if self._couriers or self._follower is not None:
            self._listener.start()
        beat, path = self._settings.messages.heartbeat, self._settings.messages.metrics_file
        if beat is not None:
            publish = None if self._follower is None else self._follower.beat
            Beat(beat, self._places.control, self._ending, publish, self._trouble).start()
        if path is not None:
            self._metrics = MetricsFile(path, Bed.of(self._settings), self._places, self._ending)
            self._metrics.start()

    def _is_over(self) -> bool:
        if self._followed is not None and self._followed.has_changed(time.monotonic()):
            self.take(self._followed.settings)
        return self.must_begin_again or self._must_end()

    def take(self, settings: Settings) -> None:
        """A newly accepted file. Another bed's is ignored, and so is one whose password is missing."""
        if settings.id != self._settings.id:
            return
        if (settings.mqtt, settings.messages) != (self._settings.mqtt, self._settings.messages):
            self.must_begin_again = _can_begin(settings)
            return
        self._settings = settings
        for courier in self._couriers:
            courier.round = self._round()
        if self._follower is not None:
            self._follower.zone = Bed.of(settings).zone
        if self._metrics is not None:
            self._metrics.bed = Bed.of(settings)

    def _trouble(self) -> str | None:
        """Why people would not hear of something now; None if they would."""
        for courier in self._couriers:
            if courier.trouble is not None:
                return f"{courier.name}: {courier.trouble}"
        if self._follower is not None and self._follower.trouble is not None:
            return f"mqtt: {self._follower.trouble}"
        try:
            with Reader(self._places.database):
                return None
        except StoreError as problem:
            return str(problem)

    def _day_line(self) -> str | None:
        """What the status says of the day once its hour has come."""
        bed, minute = Bed.of(self._settings), self._settings.messages.good_day_min
        try:
            with Reader(self._places.database) as reader:
                note = good_day(reader, bed, minute, time.time())
        except StoreError:
            return None
        return None if note is None else note.body

    def _round(self) -> Round:
        settings = self._settings
        bed, minute = Bed.of(settings), settings.messages.good_day_min
        return Round(
            bed=settings.id,
            title=settings.title,
            zone=bed.zone,
            records=self._places.database,
            deliveries=self._places.deliveries,
            quiet=settings.care.quiet,
            control=self._places.control,
            good_day=lambda reader, now_s: good_day(reader, bed, minute, now_s),
            alerts=lambda: self._listener.alerts,
        )


def _can_begin(settings: Settings) -> bool:
    try:
        if settings.mqtt is not None:
            broker_of(settings.mqtt)
    except OSError as problem:
        log.warning("channels_not_taken", reason=str(problem))
        return False
    log.info("channels_changed")
    return True
