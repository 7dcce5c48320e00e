"""The notifier's loop: one thread sends; everybody else only puts news on its queue."""

import json
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from queue import Empty, SimpleQueue
from zoneinfo import ZoneInfo

import structlog

from waaler.core.status import AlertNow, BedState, RunNow, Status, as_json
from waaler.notify.broker import (
    JSON,
    KIND,
    SENML,
    Acknowledged,
    Asked,
    Away,
    Broker,
    Changed,
    Connection,
    Down,
    Found,
    Given,
    News,
    Stop,
    Up,
)  # fmt: skip
from waaler.notify.channels import kind_of
from waaler.notify.commands import Commands
from waaler.notify.deliveries import Deliveries
from waaler.notify.hearsay import Hearsay
from waaler.notify.listener import Listener
from waaler.notify.logged_once import LoggedOnce
from waaler.notify.outbox import Outbox
from waaler.notify.places import Places
from waaler.notify.senml import pack
from waaler.notify.trouble import Trouble
from waaler.records.reader import Reader
from waaler.records.rows import LOST, AlertRow, Outgoing, RunRow, Told
from waaler.records.schema import StoreError
from waaler.records.times import rfc3339
from waaler.report.history import run_object

__all__ = ["Follower", "Places", "as_told", "calm"]

LOOK_EVERY_S = 1.0
"""How often the records are looked at where the daemon says nothing: two file stamps, no reading."""

READ_EVERY_S = 10.0
"""And how often they are read though they look unchanged: times of files are too coarse to rely on for ever."""

RETRY_S = 2.0
TELL_EVERY_S = 60.0
HEARSAY_EVERY_S = 15.0
FAREWELL_S = 2.0
GREETING_S = 90.0
"""A try to connect comes within a minute, and ends within half of one; so long a silence is an answer."""

ANSWER_WITHIN_S = 60.0
"""For the acknowledgement of a message, before the broker counts as one that gives none."""

SAMPLE_EXPIRY_S = 600
"""Older readings are of no use to anybody; a broker that was away delivers none."""

ANSWER_EXPIRY_S = 60
EPOCH = datetime.fromtimestamp(0, UTC)
log = structlog.get_logger()


class Follower:
    """Follows one bed until a Stop comes on `news`, or until must_end, asked once a second, says so.

    Belongs to the thread that makes it, which may replace `zone`.
    """

    def __init__(
        self,
        bed: str,
        zone: ZoneInfo,
        places: Places,
        broker: Broker,
        listener: Listener,
        must_end: Callable[[], bool] = lambda: False,
        day_line: Callable[[], str | None] = lambda: None,
    ) -> None:
        self.news: SimpleQueue[News] = SimpleQueue()
        self._bed, self.zone, self._places, self._broker = bed, zone, places, broker
        self._must_end, self._day_line = must_end, day_line
        self._listener, self._must_read, self._is_asked = listener, False, False
        listener.wakes.append(lambda: self.news.put(Changed()))
        listener.hears.append(lambda _: self.news.put(Asked()))
        self._connection = Connection(broker, bed, self.news)
        self._deliveries = Deliveries(places.deliveries, "mqtt")
        self._hearsay = Hearsay(bed, self._deliveries)
        self._outbox = Outbox(places.database, self._deliveries, self._send)
        self._commands = Commands(places, self._answer) if broker.has_commands else None
        self._is_up = self._is_refused = False
        self._log = LoggedOnce(host=broker.host, port=broker.port)
        self._trouble = Trouble("mqtt", places.control)
        self._next_look_s = self._next_read_s = self._next_tell_s = self._next_hearsay_s = 0.0
        self._next_away_s = time.monotonic() + GREETING_S
        self._told: Status | None = None
        self._sensed: list[dict[str, object]] = []

    def run(self) -> None:
        """Until told to stop. Raises OSError for a certificate or key that cannot be read."""
        self._connection.start()
        if self._commands is not None:
            self._commands.start()
        while not (isinstance(news := self._wait(), Stop) or self._must_end()):
            try:
                self._turn(news)
            except Exception as problem:
                log.error("follower_failed", problem=kind_of(problem))
                self._next_look_s = time.monotonic() + RETRY_S
        if self._commands is not None:
            self._commands.stop()
        self._connection.stop(FAREWELL_S)
        self._deliveries.close()

    def _turn(self, news: News | None) -> None:
        self._hear(news)
        if self._is_up and time.monotonic() >= self._next_look_s:
            self._look()
        elif not self._is_up and time.monotonic() >= self._next_away_s:
            self._away("it takes the connection and never answers")

    def _wait(self) -> News | None:
        """The next news, or None when it is time to look."""
        wait_s = self._next_look_s - time.monotonic() if self._is_up else LOOK_EVERY_S
        try:
            return self.news.get(timeout=max(0.0, wait_s))
        except Empty:
            return None

    def _hear(self, news: News | None) -> None:
        match news:
            case Up():
                self._connected()
            case Down(reason) if self._is_up:
                self._is_up = False
                self._next_away_s = time.monotonic() + GREETING_S
                self._outbox.rewind()
                self._log.met("broker_lost", reason)
            case Down() if self._is_refused:
                self._is_refused = False  # the end of a connection whose refusal was told
            case Down(reason):
                self._away(reason)
            case Away(reason):
                self._is_refused = True
                self._away(reason)
            case Acknowledged(mid, refused_because):
                was_unanswered = self._is_unanswered()
                self._outbox.acknowledged(mid, refused_because)
                if was_unanswered and not self._is_unanswered():
                    self._trouble.worked(time.monotonic())
                if self._outbox.is_behind:
                    self._next_look_s = 0.0
            case Changed():
                self._must_read, self._next_look_s = True, 0.0
            case Asked():
                self._is_asked, self._next_look_s = True, 0.0
            case Found(kind):
                self._forget_over(kind)
            case Given(payload, is_retained) if self._commands is not None:
                self._commands.put(payload, is_retained)

    @property
    def trouble(self) -> str | None:
        """Why the broker is not reached; None while it is."""
        return self._trouble.reason

    def _away(self, reason: str) -> None:
        now = time.monotonic()
        self._next_away_s = now + GREETING_S
        self._log.met("broker_away", reason)
        self._trouble.failed(reason, now, self._deliveries.has_worked())

    def _is_unanswered(self) -> bool:
        """Whether the broker is there and acknowledges nothing; that counts as no way to anybody."""
        since_s = self._outbox.unanswered_since_s
        return since_s is not None and time.monotonic() >= since_s + ANSWER_WITHIN_S

    def beat(self) -> None:
        """From any thread: a sign of life for whoever subscribes to it."""
        if self._is_up:
            told = {"bed": self._bed, "at": rfc3339(time.time(), self.zone)}
            self._connection.publish("heartbeat", _json(told), JSON, qos=0, expiry_s=SAMPLE_EXPIRY_S)

    def _answer(self, answer: Mapping[str, object]) -> None:
        """From the commands' thread."""
        told = {"bed": self._bed, **answer, "at": rfc3339(time.time(), self.zone)}
        self._connection.publish("answer", _json(told), JSON, expiry_s=ANSWER_EXPIRY_S)

    def _connected(self) -> None:
        """A broker may have forgotten everything: what is retained is said again."""
        log.info("broker_connected", host=self._broker.host, port=self._broker.port)
        self._is_up, self._is_refused = True, False
        self._log.over()
        if not self._is_unanswered():
            self._trouble.worked(time.monotonic())
            self._deliveries.worked()
        self._connection.publish("online", b"true", JSON, is_retained=True)
        self._tell_standing()
        self._told = None
        self._must_read = self._is_asked = True
        self._next_look_s = 0.0

    def _tell_standing(self) -> None:
        """The alerts that were told before and stand; those that wait in the outbox come in their turn."""
        try:
            with Reader(self._places.database) as reader:
                waiting = reader.alerts_waiting(self._deliveries.place(reader.name) or 0)
                for alert in reader.open_alerts():
                    if alert.alert_id not in waiting and KIND.fullmatch(alert.kind):
                        self._tell_alert(alert, reader.name)
        except StoreError:
            return

    def _look(self) -> None:
        now_s = time.monotonic()
        self._next_look_s = now_s + LOOK_EVERY_S
        must_read, is_asked = self._must_read or now_s >= self._next_read_s, self._is_asked
        self._must_read = self._is_asked = False
        if must_read:
            self._next_read_s = now_s + READ_EVERY_S
        self._outbox.look(time.time(), must_read)
        if self._is_unanswered():
            self._trouble.failed("it takes messages and acknowledges none", now_s, self._deliveries.has_worked())
        status = self._listener.status
        if is_asked and status is not None:
            self._tell_status(status, now_s)

    def _tell_status(self, status: Status, now_s: float) -> None:
        """On change and every minute; the readings with it, once a minute."""
        if status.state is not BedState.NO_ANSWER and now_s >= self._next_hearsay_s:
            self._next_hearsay_s = now_s + HEARSAY_EVERY_S
            self._tell_hearsay(status.alerts)
        is_due = self._told is None or now_s >= self._next_tell_s
        if not is_due and calm(status) == self._told:
            return
        self._told = calm(status)
        told = {**as_told(status), "bed": self._bed, "at": rfc3339(time.time(), self.zone)}
        if (day := self._day_line()) is not None:
            told["good_day"] = day
        self._connection.publish("status", _json(told), JSON, qos=0, is_retained=True)
        if is_due:
            self._next_tell_s = now_s + TELL_EVERY_S
            self._tell_readings(status)

    def _tell_readings(self, status: Status) -> None:
        try:
            records = pack(self._bed, status.readings)
        except (KeyError, ValueError) as problem:
            log.warning("readings_not_told", problem=repr(problem))
            return
        if records and records != self._sensed:
            self._sensed = records
            self._connection.publish("sense", _json(records), SENML, qos=0, expiry_s=SAMPLE_EXPIRY_S)

    def _open_alerts(self) -> tuple[str, list[AlertRow]]:
        """The name of the records, and the alerts that stand."""
        try:
            with Reader(self._places.database) as reader:
                return reader.name, reader.open_alerts()
        except StoreError:
            return "", []

    def _tell_hearsay(self, alerts: Sequence[AlertNow]) -> None:
        """What the records are silent on, as retained as what they tell."""
        _, rows = self._open_alerts()
        for message in tuple(self._hearsay.due(alerts, {row.kind for row in rows}, time.time())):
            with suppress(ValueError):
                self._send(message)
            self._hearsay.told(message)

    def _forget_over(self, kind: str) -> None:
        """An alert that the broker still keeps though the records, perhaps new ones, know nothing of it."""
        records, alerts = self._open_alerts()
        if records and kind not in {alert.kind for alert in alerts}:
            self._connection.publish(f"alert/{kind}", b"", None, is_retained=True)

    def _send(self, message: Outgoing) -> int:
        if isinstance(message.about, RunRow):
            run = run_object(message.about, self.zone)
            told = {"id": f"{message.records}-run-{message.about.run_id}", "bed": self._bed, **run}
            return self._connection.publish("run", _json(told), JSON).mid
        if message.what is Told.RESOLVED:
            topic = f"alert/{message.about.kind}"
            if not KIND.fullmatch(message.about.kind):
                raise ValueError(LOST)
            return self._connection.publish(topic, b"", None, is_retained=True).mid
        return self._tell_alert(message.about, message.records)

    def _tell_alert(self, alert: AlertRow, records: str) -> int:
        """Raises ValueError for one whose name is no part of a topic any more."""
        if not KIND.fullmatch(alert.kind):
            raise ValueError(LOST)
        told = {
            "id": f"{records}-alert-{alert.alert_id}",
            "turn": _turn(alert),
            "bed": self._bed,
            "kind": alert.kind,
            "severity": alert.severity.value,
            "text": alert.text,
            "raised": rfc3339(alert.raised_at_s, self.zone),
            "reminders": alert.reminders,
            "person": alert.person,
            "acknowledged_by": alert.acknowledged_by,
        }
        return self._connection.publish(f"alert/{alert.kind}", _json(told), JSON, is_retained=True).mid


def _turn(alert: AlertRow) -> str:
    """The same as long as nothing new is to be said of the alert."""
    taken = "-acknowledged" if alert.acknowledged_by is not None else ""
    return f"{alert.severity.value}-{alert.reminders}{taken}"


def calm(status: Status) -> Status:
    """What of a status is worth telling at once: none of what counts down or wavers by itself."""
    run, held = status.run, status.held_by
    return replace(
        status,
        at=None,
        readings=(),
        pump_seconds_24h=0.0,
        flow_l_per_min=None,
        sump=None,
        announced_for_seconds=0.0,
        run=None if run is None else RunNow(run.id, EPOCH),
        held_by=None if held is None else replace(held, seconds=None),
    )


def as_told(status: Status) -> dict[str, object]:
    """What is published of it: without a daemon the state alone."""
    told = as_json(status)
    return {"state": told["state"]} if status.state == BedState.NO_ANSWER else told


def _json(told: object) -> bytes:
    return json.dumps(told, ensure_ascii=False).encode()
