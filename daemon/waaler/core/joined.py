"""The decisions and the guard joined without threads: every message arrives at once, every intent is kept.

The rehearsal and the tests step this; the daemon runs the same two machines in two threads.
"""

from collections import deque
from dataclasses import dataclass, replace

from waaler.core import decisions
from waaler.core.facts import RunIntent
from waaler.core.memory import Memory
from waaler.core.messages import Action, Answer, Event, Message, Recorded, ToGuard, Write
from waaler.core.state import Setup
from waaler.guard.messages import Action as GuardAction
from waaler.guard.messages import Alone, Instant, Relay
from waaler.guard.messages import Event as GuardEvent
from waaler.guard.messages import Message as GuardMessage
from waaler.guard.state import State as GuardState
from waaler.guard.state import begin as begin_guard
from waaler.guard.step import step as step_guard

__all__ = [
    "Heard", "Joined", "Output", "begin", "tell", "tell_guard", "with_disk", "with_disk_apart", "with_wire_apart",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Heard:
    """Something the guard said, to be carried to the decisions by whoever keeps the wire between them."""

    message: GuardAction


Output = Relay | Alone | Write | Answer | ToGuard | Heard


@dataclass(frozen=True)
class Joined:
    """Both machines and when each wants to be woken (long hand).

    is_disk_full: no intent reaches the records. is_disk_apart: somebody else says what did. is_wire_apart: what one
    says to the other is handed out, not delivered.
    """

    decisions: decisions.State
    guard: GuardState
    wake_s: float
    guard_wake_s: float
    is_disk_full: bool = False
    is_disk_apart: bool = False
    is_wire_apart: bool = False


def begin(setup: Setup, memory: Memory, at: Instant) -> Joined:
    return Joined(
        decisions=decisions.begin(setup, memory, at),
        guard=begin_guard(setup.limits, memory.guard, at.long_s),
        wake_s=at.long_s,
        guard_wake_s=at.long_s,
    )


def with_disk(joined: Joined, is_full: bool) -> Joined:
    """The same with records that take nothing, or everything again."""
    return joined if joined.is_disk_full == is_full else replace(joined, is_disk_full=is_full)


def with_disk_apart(joined: Joined) -> Joined:
    """The same with the records in somebody else's hands."""
    return replace(joined, is_disk_apart=True)


def with_wire_apart(joined: Joined, is_apart: bool) -> Joined:
    """The same with the wire between the two machines in somebody else's hands, or back."""
    return joined if joined.is_wire_apart == is_apart else replace(joined, is_wire_apart=is_apart)


def tell(joined: Joined, at: Instant, message: Message) -> tuple[Joined, list[Output]]:
    """Says something to the decisions."""
    return _settle(joined, at, deque([message]))


def tell_guard(joined: Joined, at: Instant, message: GuardMessage) -> tuple[Joined, list[Output]]:
    """Says something to the guard; what it answers goes on to the decisions."""
    outputs: list[Output] = []
    joined, heard = _step_guard(joined, at, message, outputs)
    if not heard:
        return joined, outputs
    if joined.is_wire_apart:
        return joined, outputs + [Heard(message) for message in heard]
    joined, more = _settle(joined, at, deque(heard))
    return joined, outputs + more


def _settle(joined: Joined, at: Instant, waiting: deque[Message]) -> tuple[Joined, list[Output]]:
    """Delivers messages until both machines are silent."""
    outputs: list[Output] = []
    while waiting:
        state, actions, wake_s = decisions.step(joined.decisions, Event(at, waiting.popleft()))
        joined = replace(joined, decisions=state, wake_s=wake_s)
        for action in actions:
            joined = _perform(joined, at, action, waiting, outputs)
    return joined, outputs


def _perform(joined: Joined, at: Instant, action: Action, waiting: deque[Message], outputs: list[Output]) -> Joined:
    if isinstance(action, ToGuard) and not joined.is_wire_apart:
        joined, heard = _step_guard(joined, at, action.message, outputs)
        waiting.extend(heard)
        return joined
    outputs.append(action)
    if isinstance(action, Write) and isinstance(action.fact, RunIntent) and not joined.is_disk_apart:
        waiting.append(Recorded(action.fact.run_id, is_kept=not joined.is_disk_full))
    return joined


def _step_guard(
    joined: Joined, at: Instant, message: GuardMessage, outputs: list[Output]
) -> tuple[Joined, list[GuardAction]]:
    state, actions, wake_s = step_guard(joined.guard, GuardEvent(at, message))
    outputs.extend(action for action in actions if isinstance(action, Relay | Alone))
    heard: list[GuardAction] = [action for action in actions if not isinstance(action, Relay | Alone)]
    return replace(joined, guard=state, guard_wake_s=wake_s), heard
