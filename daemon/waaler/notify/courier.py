"""Brings notes to people over one channel, in a thread of its own and with its own place in the queue."""

import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from zoneinfo import ZoneInfo

import structlog

from waaler.core.care import Quiet
from waaler.core.facts import Severity
from waaler.core.status import AlertNow
from waaler.notify.channels import Channel, NotNow, NotThis, kind_of
from waaler.notify.deliveries import Deliveries
from waaler.notify.hearsay import Hearsay
from waaler.notify.lasting import LastingThread
from waaler.notify.logged_once import LoggedOnce
from waaler.notify.note import Note, for_people, is_superseded, note_of
from waaler.notify.outbox import signature
from waaler.notify.trouble import Trouble
from waaler.records.reader import Reader
from waaler.records.rows import LOST, AlertRow, Outgoing, Unread
from waaler.records.schema import StoreError
from waaler.records.times import local

__all__ = ["Courier", "Round"]

LOOK_EVERY_S = 2.0
READ_EVERY_S = 30.0
FIRST_WAIT_S = 5.0
LONGEST_WAIT_S = 600.0
"""Between two tries at a server that does not take it; each about twice the last, with a random part."""

FIRST_LOOK_BACK_S = 3600.0
"""A new channel tells what was raised within the last hour, not everything that ever was."""

AT_ONCE = 50
PROBE_EVERY_S = 600.0
NOT_DELIVERED = "not_delivered"

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Round:
    """What a courier must know of its bed. control: the daemon's socket, which hears of trouble.

    good_day: the note of the day once its hour has come, else None.
    alerts: as the daemon itself last told them, None where it did not answer.
    """

    bed: str
    title: str
    zone: ZoneInfo
    records: Path
    deliveries: Path
    quiet: Quiet | None = None
    control: Path | None = None
    good_day: Callable[[Reader, float], Note | None] = lambda _, __: None
    alerts: Callable[[], Sequence[AlertNow] | None] = lambda: None


class Courier(LastingThread):
    """Its place in the queue belongs to the thread that runs it.

    round: may be replaced from any thread, as long as records and deliveries are the same.
    """

    def __init__(self, channel: Channel, round_: Round, ending: Event) -> None:
        super().__init__(f"courier {channel.name}", ending)
        self._channel, self.round = channel, round_
        self._wait_s = FIRST_WAIT_S
        self._log = LoggedOnce(channel=channel.name)
        self._deliveries: Deliveries | None = None
        self._hearsay: Hearsay | None = None
        self._recorded: frozenset[str] = frozenset()
        self._trouble = Trouble(channel.name, round_.control)
        self._seen: tuple[tuple[int, int], ...] = ()
        self._read_s = 0.0
        self._next_probe_s = 0.0
        self._woken = Event()

    def wake(self) -> None:
        """From any thread: there may be something to tell. A wait for a server that takes nothing stays as long."""
        self._woken.set()

    def rest(self, seconds: float) -> None:
        if seconds > LOOK_EVERY_S:
            super().rest(seconds)
        else:
            self._woken.wait(seconds)
        if self._woken.is_set():
            self._woken.clear()
            self._seen = ()  # files look changed before others can read what was written

    def run(self) -> None:
        super().run()
        if self._deliveries is not None:
            self._deliveries.close()

    def turn(self) -> float:
        if self._deliveries is None:
            self._deliveries = Deliveries(self.round.deliveries, self._channel.name)
        return self.look(self._deliveries, time.time())

    def failed(self, problem: Exception) -> float:
        log.error("courier_failed", channel=self._channel.name, problem=kind_of(problem))
        return LONGEST_WAIT_S / 10

    @property
    def trouble(self) -> str | None:
        """Why nothing gets through this channel at the moment; None while it does."""
        return self._trouble.reason

    def look(self, deliveries: Deliveries, now_s: float) -> float:
        """Delivers what waits, in the records and in what the daemon says beside them; how long to wait then."""
        if self._hearsay is None:
            self._hearsay = Hearsay(self.round.bed, deliveries)
        wait_s = self._look_at_records(deliveries, now_s)
        try:
            self._tell_hearsay(self._hearsay, deliveries, now_s)
        except NotNow as problem:
            return self._failed(problem, deliveries)
        return wait_s

    def _tell_hearsay(self, hearsay: Hearsay, deliveries: Deliveries, now_s: float) -> None:
        """Raises NotNow."""
        alerts = self.round.alerts()
        for message in () if alerts is None else tuple(hearsay.due(alerts, self._recorded, now_s)):
            if self._is_held_back(message, now_s):
                continue
            if for_people(message, self._channel.least):
                self._send(deliveries, message)
            hearsay.told(message)

    def _look_at_records(self, deliveries: Deliveries, now_s: float) -> float:
        seen = signature(self.round.records)
        now = time.monotonic()
        if not seen:
            self._recorded = frozenset()
        if not seen or (seen == self._seen and now < self._read_s + READ_EVERY_S):
            return LOOK_EVERY_S
        try:
            with Reader(self.round.records) as reader:
                has_more = self._deliver(reader, deliveries, now_s)
            if not has_more:
                self._probe(deliveries)
        except StoreError as problem:
            self._recorded = frozenset()
            self._log.met(NOT_DELIVERED, str(problem))
            return READ_EVERY_S
        except NotNow as problem:
            return self._failed(problem, deliveries)
        self._seen, self._read_s = (), now
        if not has_more:
            self._seen = seen
        self._wait_s = FIRST_WAIT_S
        self._log.over()
        return 0.0 if has_more else LOOK_EVERY_S

    def _failed(self, problem: NotNow, deliveries: Deliveries) -> float:
        """How long to wait before the next try."""
        now = time.monotonic()
        self._log.met(NOT_DELIVERED, str(problem))
        self._trouble.failed(str(problem), now, deliveries.has_worked())
        wait_s = self._wait_s * random.uniform(0.75, 1.25)
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)
        return min(wait_s, self._trouble.due_in_s(now))

    def _probe(self, deliveries: Deliveries) -> None:
        """While there is nothing to send, and nothing ever got through. Raises NotNow."""
        now = time.monotonic()
        if now >= self._next_probe_s and not deliveries.has_worked():
            self._next_probe_s = now + PROBE_EVERY_S
            self._channel.probe()
            self._trouble.worked(now)

    def _deliver(self, reader: Reader, deliveries: Deliveries, now_s: float) -> bool:
        """Whether more waits. Raises NotNow at the first message that could not be delivered."""
        place = deliveries.place(reader.name)
        if place is None:
            place = reader.last_before(now_s - FIRST_LOOK_BACK_S)
            deliveries.told(reader.name, place)
        if not self._is_quiet(now_s):
            for number in deliveries.held(reader.name):
                message = reader.message(number)
                if isinstance(message, Unread):
                    self._park(deliveries, reader.name, message)
                elif message is not None:
                    self._send(deliveries, message)
                deliveries.release(reader.name, number)
        waiting = reader.after(place, AT_ONCE)
        self._recorded = frozenset(alert.kind for alert in reader.open_alerts())
        for message in waiting:
            if isinstance(message, Unread):
                self._park(deliveries, reader.name, message)
            elif self._hearsay is not None and self._hearsay.knows(message):
                pass
            elif self._is_held_back(message, now_s):
                deliveries.hold(reader.name, message.number)
            elif for_people(message, self._channel.least) and not is_superseded(message, self._recorded):
                self._send(deliveries, message)
            deliveries.told(reader.name, message.number)
        self._tell_good_day(reader, deliveries, now_s)
        return len(waiting) == AT_ONCE

    def _send(self, deliveries: Deliveries, message: Outgoing) -> None:
        round_ = self.round
        try:
            self._channel.send(note_of(message, round_.bed, round_.title, round_.zone))
            self._trouble.worked(time.monotonic())
            deliveries.worked()
        except NotThis as problem:
            log.error("message_parked", channel=self._channel.name, number=message.number, reason=str(problem))
            deliveries.park(message.records, message.number, str(problem))

    def _park(self, deliveries: Deliveries, records: str, message: Unread) -> None:
        """What can't be told any more keeps nobody from hearing of the rest."""
        log.error("message_parked", channel=self._channel.name, number=message.number, reason=LOST)
        deliveries.park(records, message.number, LOST)

    def _tell_good_day(self, reader: Reader, deliveries: Deliveries, now_s: float) -> None:
        note = self.round.good_day(reader, now_s)
        if note is None or deliveries.was_said(note.id):
            return
        try:
            self._channel.send(note)
        except NotThis as problem:
            log.error("message_parked", channel=self._channel.name, message=note.id, reason=str(problem))
        deliveries.said(note.id)

    def _is_held_back(self, message: Outgoing, now_s: float) -> bool:
        """In quiet hours only what is urgent goes out; the rest waits for their end."""
        is_person_s = for_people(message, self._channel.least) and isinstance(message.about, AlertRow)
        if not is_person_s or not self._is_quiet(now_s):
            return False
        return isinstance(message.about, AlertRow) and message.about.severity is not Severity.URGENT

    def _is_quiet(self, now_s: float) -> bool:
        quiet = self.round.quiet
        at = local(now_s, self.round.zone)
        return quiet is not None and quiet.wait_s(at.hour * 60 + at.minute) > 0
