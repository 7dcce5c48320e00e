"""How far the messages got, over restarts and damage."""

from pathlib import Path

import pytest
from tests.records.facts import whole_run

from waaler.guard.messages import Instant
from waaler.notify.deliveries import Deliveries
from waaler.notify.outbox import Outbox
from waaler.records.rows import Outgoing, RunRow
from waaler.records.store import Store

NOW_S = 1_782_025_200.0


class Channel:
    """Takes messages and never acknowledges by itself."""

    def __init__(self) -> None:
        self.sent: list[int] = []

    def send(self, message: Outgoing) -> int:
        assert isinstance(message.about, RunRow)
        if message.about.result_reason == "too large":
            raise ValueError("payload too large")
        self.sent.append(message.about.run_id)
        return message.about.run_id


def store_runs(path: Path, first: int, last: int, at_s: float = NOW_S, reason: str = "ran its time") -> None:
    store = Store(path, "boot-a")
    for run_id in range(first, last + 1):
        store.write(whole_run(run_id, 0.0, reason=reason, run_at=Instant(0.0, at_s)))
    store.close()


def test_the_place_is_known_after_a_restart_and_damage_only_repeats(tmp_path: Path) -> None:
    path = tmp_path / "terrace.notify.db"
    first = Deliveries(path, "mqtt")
    first.told("abc", 7)
    first.close()

    second = Deliveries(path, "mqtt")
    assert (second.place("abc"), second.place("other")) == (7, None)
    second.close()
    path.write_bytes(b"damaged " * 1000)
    third = Deliveries(path, "mqtt")
    assert third.place("abc") is None
    third.close()


def test_a_folder_that_takes_no_file_stops_no_message(tmp_path: Path) -> None:
    deliveries = Deliveries(tmp_path / "missing" / "terrace.notify.db", "mqtt")

    deliveries.told("abc", 7)

    assert deliveries.place("abc") == 7
    deliveries.close()


def test_a_channel_that_acknowledges_nothing_gets_twenty_messages_and_no_more(tmp_path: Path) -> None:
    store_runs(tmp_path / "t.db", 1, 30)
    channel, deliveries = Channel(), Deliveries(tmp_path / "n.db", "mqtt")
    outbox = Outbox(tmp_path / "t.db", deliveries, channel.send)

    outbox.look(NOW_S, must_read=True)
    outbox.look(NOW_S, must_read=True)
    assert channel.sent == list(range(1, 21))

    outbox.acknowledged(2, None)
    outbox.acknowledged(1, None)
    outbox.look(NOW_S, must_read=False)
    assert channel.sent == list(range(1, 23))
    deliveries.close()


def test_the_place_stays_before_the_oldest_message_on_its_way(tmp_path: Path) -> None:
    store_runs(tmp_path / "t.db", 1, 3)
    channel, deliveries = Channel(), Deliveries(tmp_path / "n.db", "mqtt")
    Outbox(tmp_path / "t.db", deliveries, channel.send).look(NOW_S, must_read=True)
    outbox = Outbox(tmp_path / "t.db", deliveries, channel.send)
    outbox.look(NOW_S, must_read=True)
    outbox.acknowledged(1, None)
    outbox.acknowledged(3, None)

    again = Channel()
    Outbox(tmp_path / "t.db", deliveries, again.send).look(NOW_S, must_read=True)

    assert again.sent == [2, 3]
    deliveries.close()


def test_a_message_that_can_never_be_sent_is_parked_and_the_next_ones_go_on(tmp_path: Path) -> None:
    store_runs(tmp_path / "t.db", 1, 1, reason="too large")
    store_runs(tmp_path / "t.db", 2, 2)
    channel, deliveries = Channel(), Deliveries(tmp_path / "n.db", "mqtt")
    outbox = Outbox(tmp_path / "t.db", deliveries, channel.send)

    outbox.look(NOW_S, must_read=True)
    outbox.acknowledged(2, None)

    assert channel.sent == [2]
    assert deliveries.parked() == [(1, "payload too large")]
    deliveries.close()


@pytest.mark.parametrize(("age_s", "told"), [(86_399.0, [1]), (86_401.0, [])])
def test_records_never_followed_before_are_told_from_a_day_back(
    tmp_path: Path, age_s: float, told: list[int]
) -> None:
    store_runs(tmp_path / "t.db", 1, 1, at_s=NOW_S - 120.0)
    channel, deliveries = Channel(), Deliveries(tmp_path / "n.db", "mqtt")

    Outbox(tmp_path / "t.db", deliveries, channel.send).look(NOW_S + age_s, must_read=True)

    assert channel.sent == told
    deliveries.close()


def test_new_records_in_the_place_of_lost_ones_are_followed_from_their_beginning(tmp_path: Path) -> None:
    store_runs(tmp_path / "t.db", 1, 5)
    channel, deliveries = Channel(), Deliveries(tmp_path / "n.db", "mqtt")
    outbox = Outbox(tmp_path / "t.db", deliveries, channel.send)
    outbox.look(NOW_S, must_read=True)
    for number in range(1, 6):
        outbox.acknowledged(number, None)
    (tmp_path / "t.db").unlink()
    store_runs(tmp_path / "t.db", 6, 7)

    outbox.look(NOW_S, must_read=True)

    assert channel.sent == [1, 2, 3, 4, 5, 6, 7]
    deliveries.close()
