"""Waiting for the daemon's next change: few may, nobody is waited for, and the orders notice nothing of it."""

import json
import os
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import pytest
from tests.keeper.process import until

from waaler.keeper import changes as module
from waaler.keeper.changes import Changes
from waaler.keeper.control import ControlSocket
from waaler.keeper.door import Room
from waaler.notify.asking import ask

NEVER = 0
"""No daemon's count: it begins at one of 2^40 numbers."""


class Socket:
    """A control socket with what waits behind it."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "bed.sock"
        self.notifiers: set[int] = set()
        self.deaths: list[object] = []
        self.changes = Changes(lambda *death: self.deaths.append(death))
        self.server = ControlSocket(
            self.path,
            lambda: {"ok": True, "state": "waiting"},
            lambda _: {"ok": True, "text": "done"},
            lambda *_: None,
            lambda: Room(100.0),
            is_notifier=lambda peer: peer.process in self.notifiers,
            changes=self.changes,
        )
        self.changes.start()
        self.server.start()

    def count(self) -> int:
        found: int = ask(self.path, {"do": "wait", "since": NEVER})["changes"]
        return found

    def begin_to_wait(self, since: int) -> socket.socket:
        talk = socket.socket(socket.AF_UNIX)
        talk.settimeout(5.0)
        talk.connect(str(self.path))
        talk.sendall(json.dumps({"do": "wait", "since": since}).encode() + b"\n")
        return talk

    @property
    def waiting(self) -> int:
        return len(self.changes._waiters)


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


@pytest.fixture
def bed(tmp_path: Path, stack: ExitStack) -> Socket:
    bed = Socket(tmp_path)

    def end() -> None:
        for part in (bed.server, bed.changes):
            part.stop()
            part.join(timeout=5)
            assert not part.is_alive()

    stack.callback(end)
    return bed


def answer(talk: socket.socket) -> dict[str, Any]:
    with talk:
        found: dict[str, Any] = json.loads(talk.makefile("rb").readline())
        return found


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize("since", [None, "7", 1.5, True, [1]])
def test_who_does_not_say_since_when_is_told_how(bed: Socket, since: object) -> None:
    assert ask(bed.path, {"do": "wait", "since": since}) == {
        "ok": False,
        "text": "say since which change you wait, such as 0",
    }


def test_a_fourth_is_turned_away_and_the_last_place_is_the_notifier_s(bed: Socket, stack: ExitStack) -> None:
    count = bed.count()
    waiting = [stack.enter_context(bed.begin_to_wait(count)) for _ in range(3)]
    until(lambda: bed.waiting == 3, "three that wait")

    assert ask(bed.path, {"do": "wait", "since": count}) == {"ok": False, "text": "too many wait already"}
    bed.notifiers.add(os.getpid())
    last = bed.begin_to_wait(count)
    until(lambda: bed.waiting == 4, "the notifier's place")
    assert ask(bed.path, {"do": "wait", "since": count}) == {"ok": False, "text": "too many wait already"}

    bed.changes.tell()
    assert [answer(talk)["changes"] for talk in (*waiting, last)] == [count + 1] * 4


def test_who_waits_takes_no_place_of_those_who_order(bed: Socket, stack: ExitStack) -> None:
    count = bed.count()
    for _ in range(3):
        stack.enter_context(bed.begin_to_wait(count))
    until(lambda: bed.waiting == 3, "three that wait")
    idle = [stack.enter_context(socket.socket(socket.AF_UNIX)) for _ in range(7)]
    for talk in idle:
        talk.connect(str(bed.path))

    assert ask(bed.path, {"do": "water", "seconds": 60})["ok"]
    assert bed.waiting == 3


def test_the_notifier_is_there_while_it_waits_now_and_then(bed: Socket, monkeypatch: pytest.MonkeyPatch) -> None:
    bed.count()
    assert not bed.changes.has_notifier, "somebody else waited"

    bed.notifiers.add(os.getpid())
    bed.count()
    assert bed.changes.has_notifier
    monkeypatch.setattr(module, "THERE_FOR_S", 0.0)
    assert not bed.changes.has_notifier


# --- what happens to those who wait ---------------------------------------------------------------


def test_a_change_is_told_to_all_who_wait(bed: Socket) -> None:
    count = bed.count()
    talks = [bed.begin_to_wait(count) for _ in range(3)]
    until(lambda: bed.waiting == 3, "three that wait")

    bed.changes.tell()

    assert [answer(talk) for talk in talks] == [{"ok": True, "changes": count + 1}] * 3


def test_changes_that_came_before_are_told_at_once_and_how_many_they_were(bed: Socket) -> None:
    count = bed.count()
    for _ in range(5):
        bed.changes.tell()

    assert answer(bed.begin_to_wait(count))["changes"] == count + 5


def test_the_next_daemon_s_count_is_another_one(tmp_path: Path) -> None:
    firsts = {Changes(lambda *_: None)._count for _ in range(20)}

    assert len(firsts) == 20


def test_without_a_change_an_answer_comes_as_a_sign_of_life(bed: Socket, monkeypatch: pytest.MonkeyPatch) -> None:
    count = bed.count()
    monkeypatch.setattr(module, "LONGEST_WAIT_S", 0.05)

    assert answer(bed.begin_to_wait(count))["changes"] == count


def test_who_goes_away_or_talks_out_of_turn_makes_room(bed: Socket, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LONGEST_WAIT_S", 1000.0)
    count = bed.count()
    for _ in range(3):
        talks = [bed.begin_to_wait(count) for _ in range(3)]
        until(lambda: bed.waiting == 3, "three that wait")
        talks.pop().sendall(b"and?\n")
        for talk in talks:
            talk.close()
        until(lambda: bed.waiting == 0, "room")

    assert bed.deaths == []


def test_one_whose_buffer_is_full_is_left_behind_and_nobody_waits_for_it(bed: Socket, stack: ExitStack) -> None:
    count = bed.count()
    ours, theirs = (stack.enter_context(one) for one in socket.socketpair(socket.AF_UNIX))
    ours.setblocking(False)
    with suppress(BlockingIOError):
        while True:
            ours.send(b"x" * 4096)
    ours.setblocking(True)
    assert bed.changes.wait(ours, count, is_notifier=False)
    other = bed.begin_to_wait(count)
    until(lambda: bed.waiting == 2, "both")

    bed.changes.tell()

    assert answer(other)["changes"] == count + 1
    until(lambda: bed.waiting == 0, "both gone")
    until(lambda: ours.fileno() == -1, "the connection's end")
    assert theirs.recv(10) == b"x" * 10


def test_a_thousand_changes_hold_nobody_up_while_one_never_reads(bed: Socket, stack: ExitStack) -> None:
    count = bed.count()
    stack.enter_context(bed.begin_to_wait(count))
    until(lambda: bed.waiting == 1, "one that waits")

    def much() -> None:
        for _ in range(1000):
            bed.changes.tell()

    teller = threading.Thread(target=much)

    teller.start()
    teller.join(timeout=5)

    assert not teller.is_alive()
    assert bed.count() == count + 1000


def test_the_end_of_the_daemon_ends_all_waiting(bed: Socket) -> None:
    talk = bed.begin_to_wait(bed.count())
    until(lambda: bed.waiting == 1, "one that waits")

    bed.changes.stop()

    assert talk.recv(10) == b""
    talk.close()
    bed.changes.join(timeout=5)
    assert ask(bed.path, {"do": "wait", "since": NEVER})["ok"] is False
