"""Orders that come over the broker: few, short-lived, each once, and none that lifts a lock or a limit.

Whatever is not plainly an order of these is refused, and the daemon judges what is left once more.
"""

import json
import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from queue import Empty, Full, Queue
from threading import Event, Thread
from typing import Any

import structlog

from waaler.notify.asking import ask, ask_status
from waaler.notify.broker import MOST_COMMAND_BYTES
from waaler.notify.deliveries import Deliveries
from waaler.notify.places import Places
from waaler.visible import one_line

__all__ = ["Command", "Commands", "Refusal", "judge"]

LONGEST_VALID_S = 60.0
KEEP_IDS_S = 86_400.0
MOST_WAITING = 10
ANSWER_WAIT_S = 6.0
ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
KIND = re.compile(r"[a-z0-9][a-z0-9-]{0,60}")
LENGTHS_S = {"water": 7200.0, "pause": 12 * 3600.0}
"""Orders that need a length, and the most that makes sense; the daemon's own limits are stricter."""

ALLOWED = frozenset({"stop", "resume", "acknowledge", *LENGTHS_S})
KEYS = frozenset({"id", "do", "expires", "seconds", "alert"})

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Command:
    """seconds, alert: None where the order has none."""

    id: str
    do: str
    seconds: float | None = None
    alert: str | None = None

    def order(self) -> dict[str, object]:
        """What the control socket is told."""
        told: dict[str, object] = {"do": self.do, "is_remote": True}
        if self.seconds is not None:
            told["seconds"] = self.seconds
        if self.alert is not None:
            told["text"] = self.alert
        return told


@dataclass(frozen=True, slots=True)
class Refusal:
    """id: of the order, None where it has none that could be read."""

    id: str | None
    reason: str


def judge(payload: bytes, is_retained: bool, now_s: float) -> Command | Refusal:
    """What a message asks for, if it is an order at all. now_s: a wall time that is sure."""
    if len(payload) > MOST_COMMAND_BYTES:
        return Refusal(None, f"larger than {MOST_COMMAND_BYTES} bytes")
    try:
        told = json.loads(payload, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        return Refusal(None, "no JSON")
    if not isinstance(told, dict) or not isinstance(told.get("id"), str) or not ID.fullmatch(told["id"]):
        return Refusal(None, "no id of at most 64 letters, digits, dots and hyphens")
    refuse = _fault(told, is_retained, now_s)
    if refuse is not None:
        return Refusal(told["id"], refuse)
    seconds = told.get("seconds")
    return Command(told["id"], told["do"], None if seconds is None else float(seconds), told.get("alert"))


def _fault(told: dict[str, Any], is_retained: bool, now_s: float) -> str | None:
    """Why it is not carried out; None if nothing speaks against it."""
    if is_retained:
        return "retained: an order is given once"
    if not told.keys() <= KEYS:
        return one_line(f"unknown: {', '.join(sorted(told.keys() - KEYS))}", 110)
    do = told.get("do")
    if not isinstance(do, str) or do not in ALLOWED:
        return f"allowed: {', '.join(sorted(ALLOWED))}"
    left_s = _left_s(told.get("expires"), now_s)
    if left_s is None:
        return "expires is no time such as 2026-06-21T09:00:00+01:00"
    if not 0 < left_s <= LONGEST_VALID_S:
        return "stale" if left_s <= 0 else f"valid for longer than {LONGEST_VALID_S:.0f} s"
    return _length_fault(do, told.get("seconds")) or _alert_fault(do, told.get("alert"))


def _left_s(expires: object, now_s: float) -> float | None:
    try:
        moment = datetime.fromisoformat(str(expires))
        return None if moment.tzinfo is None else moment.timestamp() - now_s
    except (ValueError, OverflowError):
        return None


def _length_fault(do: str, seconds: object) -> str | None:
    most_s = LENGTHS_S.get(do)
    if most_s is None:
        return None if seconds is None else f"{do} has no seconds"
    is_number = isinstance(seconds, int | float) and not isinstance(seconds, bool)
    if not is_number or not 0 < seconds <= most_s:  # type: ignore[operator]
        return f"{do} needs seconds, at most {most_s:.0f}"
    return None


def _alert_fault(do: str, alert: object) -> str | None:
    if alert is None:
        return None
    if do != "acknowledge":
        return f"{do} has no alert"
    return None if isinstance(alert, str) and KIND.fullmatch(alert) else "alert is no name of one"


def _no_constant(name: str) -> None:
    raise ValueError(name)


class Commands(Thread):
    """Carries out one order after another. answer: publishes what came of it, from this thread."""

    def __init__(self, places: Places, answer: Callable[[dict[str, Any]], object]) -> None:
        super().__init__(name="commands", daemon=True)
        self._places, self._answer = places, answer
        self._inbox: Queue[tuple[bytes, bool]] = Queue(MOST_WAITING)
        self._ending = Event()

    def put(self, payload: bytes, is_retained: bool) -> None:
        """Takes a message to judge; one too many is dropped, and only the log tells."""
        try:
            self._inbox.put_nowait((payload, is_retained))
        except Full:
            log.warning("command_dropped", reason="too many at once")

    def stop(self) -> None:
        self._ending.set()

    def run(self) -> None:
        memory = Deliveries(self._places.deliveries, "commands")
        while not self._ending.is_set():
            try:
                payload, is_retained = self._inbox.get(timeout=0.5)
            except Empty:
                continue
            try:
                self._carry_out(payload, is_retained, memory)
            except Exception as problem:
                log.error("command_failed", problem=repr(problem))
        memory.close()

    def _carry_out(self, payload: bytes, is_retained: bool, memory: Deliveries) -> None:
        found = judge(payload, is_retained, time.time())
        if isinstance(found, Command):
            answer = self._obey(found, memory)
        else:
            answer = {"id": found.id, "ok": False, "text": f"refused: {found.reason}"}
        log.info("command", **answer)
        if answer["id"] is not None:
            self._answer(answer)

    def _obey(self, command: Command, memory: Deliveries) -> dict[str, Any]:
        """Asks the daemon; not twice for one id, and not at all while its clock is unsure."""
        if not memory.is_first(command.id, time.time(), KEEP_IDS_S):
            return _refused(command, "this id was used before")
        if ask_status(self._places.control).clock != "sure":
            return _refused(command, "the clock is unsure, or the daemon does not answer")
        try:
            answer = ask(self._places.control, command.order(), ANSWER_WAIT_S)
        except (OSError, ValueError):
            return _refused(command, "the daemon does not answer")
        return {"id": command.id, "ok": answer.get("ok") is True, "text": str(answer.get("text", ""))[:300]}


def _refused(command: Command, reason: str) -> dict[str, Any]:
    return {"id": command.id, "ok": False, "text": f"refused: {reason}"}
