"""The keeper's loop: takes messages, steps the decisions, performs what they say.

Its thread owns the decisions' state; everybody else posts messages or looks at the frozen state.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from queue import Empty, SimpleQueue
from threading import Lock

import structlog

from waaler.core import decisions
from waaler.core.facts import (
    AlertAcknowledged,
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Deed,
    Fact,
    RunIntent,
    RunResult,
    RunStarted,
)  # fmt: skip
from waaler.core.messages import Action, Answer, Event, Look, Message, Order, OrderKind, ToGuard, Write
from waaler.core.state import State
from waaler.core.status import AlertNow
from waaler.devices.clock import Clock
from waaler.guard.messages import Instant
from waaler.guard.messages import Message as GuardMessage
from waaler.keeper.door import Request
from waaler.keeper.status import Alerts, local

__all__ = ["Keeper", "Stop"]

LOOK_EVERY_S = 60.0
CHORES_EVERY_S = 1.0
ANSWER_WAIT_S = 4.0

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Stop:
    """End the loop."""


class Keeper:
    """The decisions, their queue and their answers.

    record: takes facts to be written. tell_guard: posts to the guard. chores: called about once a second from the
    loop, for the file and the clock; may post messages.
    """

    def __init__(
        self,
        state: State,
        clock: Clock,
        record: Callable[[Fact], object],
        tell_guard: Callable[[GuardMessage], object],
        chores: Callable[[Instant], object],
    ) -> None:
        self.inbox: SimpleQueue[tuple[Instant, Message] | Stop] = SimpleQueue()
        self.state = state
        self.alerts: Alerts = {}
        self.beat_s = clock.now().long_s
        self._clock, self._record, self._tell_guard, self._chores = clock, record, tell_guard, chores
        self._wake_s = self.beat_s
        self._chores_s = self.beat_s
        self._answers: dict[int, SimpleQueue[Answer]] = {}
        self._answers_lock = Lock()
        self._next_order_id = 1

    def post(self, message: Message, at: Instant | None = None) -> None:
        """From any thread."""
        self.inbox.put((at or self._clock.now(), message))

    def stop(self) -> None:
        """From any thread: the loop ends after what is already waiting."""
        self.inbox.put(Stop())

    def order(self, request: Request) -> Mapping[str, object]:
        """From the threads of socket and panel: posts an order and waits for its answer."""
        answers: SimpleQueue[Answer] = SimpleQueue()
        with self._answers_lock:
            order_id = self._next_order_id
            self._next_order_id += 1
            self._answers[order_id] = answers
        self.post(
            Order(
                order_id,
                request.kind,
                request.by,
                request.seconds,
                amounts=request.amounts,
                text=request.text,
                is_renewal=request.is_renewal,
                is_remote=request.is_remote,
                wrong_float=request.wrong_float,
            )
        )
        try:
            answer = answers.get(timeout=ANSWER_WAIT_S)
            return {"ok": answer.is_done, "text": answer.text}
        except Empty:
            return {
                "ok": request.kind is OrderKind.STOP,
                "text": "the keeper does not answer; the order is in its queue",
            }
        finally:
            with self._answers_lock:
                self._answers.pop(order_id, None)

    def run(self) -> None:
        """Until Stop. Whatever is raised here ends the daemon, relay off first."""
        while True:
            now_s = self._clock.now().long_s
            self.beat_s = now_s
            wait_s = max(0.0, min(self._wake_s, self._chores_s) - now_s)
            try:
                item = self.inbox.get(timeout=wait_s) if wait_s > 0 else self.inbox.get_nowait()
            except Empty:
                self._pass_time()
                continue
            if isinstance(item, Stop):
                return
            self.step(*item)

    def step(self, at: Instant, message: Message) -> None:
        """One message in, its actions performed."""
        self.state, actions, wake_s = decisions.step(self.state, Event(at, message))
        self._wake_s = min(wake_s, at.long_s + LOOK_EVERY_S)
        for action in actions:
            self._perform(action)

    def _pass_time(self) -> None:
        at = self._clock.now()
        if at.long_s >= self._chores_s:
            self._chores_s = at.long_s + CHORES_EVERY_S
            self._chores(at)
        if at.long_s >= self._wake_s:
            self.step(at, Look())

    def _perform(self, action: Action) -> None:
        match action:
            case Write(fact):
                self._note(fact)
                self._record(fact)
            case ToGuard(message):
                self._tell_guard(message)
            case Answer(order_id):
                with self._answers_lock:
                    waiting = self._answers.get(order_id)
                if waiting is not None:
                    waiting.put(action)

    def _show(self, alert: AlertNow) -> None:
        self.alerts = {**self.alerts, alert.kind: alert}

    def _note(self, fact: Fact) -> None:
        """Logs a fact, and keeps the words of alerts for the status."""
        zone = self.state.setup.plan.place.timezone
        match fact:
            case AlertRaised(at, kind, severity, text):
                known = self.alerts.get(kind)
                since = local(at.wall_s, zone) if known is None else known.since
                self._show(AlertNow(kind, severity.value, text, since))
                log.warning("alert", kind=kind, severity=severity.value, text=text)
            case AlertReminded(_, kind, text, reminders):
                if (known := self.alerts.get(kind)) is not None:
                    self._show(replace(known, text=text, acknowledged=None))
                log.warning("alert_reminded", kind=kind, reminders=reminders)
            case AlertReworded(_, kind, text) if (known := self.alerts.get(kind)) is not None:
                self._show(replace(known, text=text))
            case AlertAcknowledged(_, kind, by):
                if (known := self.alerts.get(kind)) is not None:
                    self._show(replace(known, acknowledged=by))
                log.info("alert_acknowledged", kind=kind, by=by)
            case AlertResolved(_, kind):
                self.alerts = {name: alert for name, alert in self.alerts.items() if name != kind}
                log.info("alert_resolved", kind=kind)
            case RunIntent():
                log.info(
                    "run_intended", run=fact.run_id, cause=fact.cause.value, seconds=fact.seconds, why=fact.reason
                )
            case RunStarted():
                log.info("run_started", run=fact.run_id, seconds=round(fact.seconds, 1))
            case RunResult():
                log.info("run_ended", run=fact.run_id, outcome=fact.outcome.value, seconds=round(fact.seconds, 1),
                         why=fact.reason)  # fmt: skip
            case Deed():
                log.info("deed", what=fact.what, text=fact.text, by=fact.by)
