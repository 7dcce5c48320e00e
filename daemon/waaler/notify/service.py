"""All that the notifier does for a bed: a thread for each channel, the heartbeat, the metrics, the broker."""

import time
from collections.abc import Callable, Iterator
from threading import Event, Thread

from waaler.notify.broker import Broker, Stop
from waaler.notify.channels import Channel
from waaler.notify.courier import Courier, Round
from waaler.notify.follower import Follower
from waaler.notify.good_day import good_day
from waaler.notify.heartbeat import Beat
from waaler.notify.mail import MailChannel
from waaler.notify.metrics_file import MetricsFile
from waaler.notify.places import Places
from waaler.notify.push import PushChannel
from waaler.notify.webhook import WebhookChannel
from waaler.records.reader import Reader
from waaler.records.schema import StoreError
from waaler.report.bed import Bed
from waaler.settings import Settings
from waaler.settings.messages import Messages

__all__ = ["Service", "bed_of", "channels"]

END_WAIT_S = 1.0
LOOK_EVERY_S = 1.0


def channels(messages: Messages) -> Iterator[Channel]:
    """Those of the file, MQTT left out."""
    if messages.mail is not None:
        yield MailChannel(messages.mail, messages.people)
    for hook in messages.webhooks:
        yield WebhookChannel(hook)
    if messages.push is not None:
        yield PushChannel(messages.push)


def bed_of(settings: Settings) -> Bed:
    return Bed(settings.id, settings.title, settings.plan, settings.sensing, settings.figures, settings.book)


class Service:
    """Belongs to the thread that makes it. broker None: no MQTT. must_end: asked once a second."""

    def __init__(
        self, settings: Settings, places: Places, broker: Broker | None, must_end: Callable[[], bool]
    ) -> None:
        self._settings, self._places, self._must_end = settings, places, must_end
        self._ending = Event()
        self._follower: Follower | None = None
        if broker is not None:
            zone = bed_of(settings).zone
            self._follower = Follower(settings.id, zone, places, broker, must_end, self._day_line)

    def stop(self) -> None:
        """From any thread, or a signal."""
        self._ending.set()
        if self._follower is not None:
            self._follower.news.put(Stop())

    def run(self) -> None:
        """Until told to stop. Raises OSError for a certificate or key that cannot be read."""
        threads = [Courier(channel, self._round(), self._ending) for channel in channels(self._settings.messages)]
        for thread in (*threads, *self._beats()):
            thread.start()
        if self._follower is not None:
            self._follower.run()
        else:
            while not (self._ending.wait(LOOK_EVERY_S) or self._must_end()):
                pass
        self._ending.set()
        for thread in threads:
            thread.join(timeout=END_WAIT_S)

    def _day_line(self) -> str | None:
        """What the status says of the day once its hour has come."""
        bed, minute = bed_of(self._settings), self._settings.messages.good_day_min
        try:
            with Reader(self._places.database) as reader:
                note = good_day(reader, bed, minute, time.time())
        except StoreError:
            return None
        return None if note is None else note.body

    def _round(self) -> Round:
        settings = self._settings
        bed, minute = bed_of(settings), settings.messages.good_day_min
        return Round(
            bed=settings.id,
            title=settings.title,
            zone=bed.zone,
            records=self._places.database,
            deliveries=self._places.deliveries,
            quiet=settings.care.quiet,
            control=self._places.control,
            good_day=lambda reader, now_s: good_day(reader, bed, minute, now_s),
        )

    def _beats(self) -> Iterator[Thread]:
        beat = self._settings.messages.heartbeat
        if beat is not None:
            publish = None if self._follower is None else self._follower.beat
            yield Beat(beat, self._places.control, self._ending, publish)
        path = self._settings.messages.metrics_file
        if path is not None:
            yield MetricsFile(path, bed_of(self._settings), self._places, self._ending)
