"""A channel that fails for an hour is told to the daemon, once, and so is its end."""

from pathlib import Path

from tests.notify.conftest import FakeDaemon

from waaler.notify.places import Places
from waaler.notify.trouble import Trouble


def test_after_an_hour_of_failing_the_daemon_hears_of_it_once_and_of_its_end(
    places: Places, daemon: FakeDaemon
) -> None:
    trouble = Trouble("webhook My board", places.control)
    for now_s in (0.0, 1800.0, 3599.0):
        trouble.failed("the server says 500", now_s)
    assert daemon.channels == []

    for now_s in (3600.0, 4000.0, 9000.0):
        trouble.failed("the server says 500\x1b", now_s)
    for now_s in (9001.0, 9002.0):
        trouble.worked(now_s)

    name = "webhook-my-board"
    assert daemon.channels == [
        {"do": "channel", "name": name, "reason": "the server says 500\\x1b"},
        {"do": "channel", "name": name, "reason": None},
    ]


def test_a_short_failure_is_nobody_s_business(places: Places, daemon: FakeDaemon) -> None:
    trouble = Trouble("mail", places.control)
    trouble.worked(0.0)
    daemon.channels.clear()
    trouble.failed("away", 10.0)
    trouble.worked(3000.0)
    trouble.failed("away", 3700.0)

    assert daemon.channels == []


def test_where_the_daemon_is_away_it_is_told_later(places: Places) -> None:
    trouble = Trouble("mail", places.control)
    trouble.failed("away", 0.0)
    trouble.failed("away", 3600.0)
    daemon = FakeDaemon(places.control)
    trouble.failed("away", 3700.0)
    assert daemon.channels == []
    trouble.failed("away", 4200.0)

    assert [asked["reason"] for asked in daemon.channels] == ["away"]
    daemon.close()


def test_without_a_socket_nothing_happens() -> None:
    Trouble("mail", None).failed("away", 1e9)
    Trouble("mail", Path("/nowhere")).worked(1e9)
