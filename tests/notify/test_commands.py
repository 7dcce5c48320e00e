"""Orders over the broker: what is no plain, fresh, first order of the few allowed is refused."""

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from tests.core.bench import Bench
from tests.notify.conftest import FakeDaemon
from tests.notify.mosquitto import Listener, Mosquitto

from waaler.core.messages import Answer, Order, OrderKind
from waaler.notify.broker import Broker
from waaler.notify.commands import ALLOWED, Command, Refusal, judge
from waaler.notify.deliveries import Deliveries
from waaler.notify.places import Places

NOW_S = 1_782_025_200.0
Follow = Callable[[Broker], Callable[[], None]]
Listen = Callable[..., Listener]


def expires(after_s: float, now_s: float = NOW_S) -> str:
    return datetime.fromtimestamp(now_s + after_s, UTC).isoformat()


def order(**changes: Any) -> dict[str, Any]:
    told = {"id": "a-1", "do": "water", "expires": expires(30), "seconds": 60, **changes}
    return {key: value for key, value in told.items() if value is not None}


def judged(told: Any, is_retained: bool = False) -> Command | Refusal:
    return judge(json.dumps(told).encode(), is_retained, NOW_S)


# --- what is judged -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        (order(do="clear"), "allowed: acknowledge, pause, resume, stop, water"),
        (order(do="soak"), "allowed: "),
        (order(do="service"), "allowed: "),
        (order(do="status"), "allowed: "),
        (order(do="refill"), "allowed: "),
        (order(do=["stop"]), "allowed: "),
        (order(expires=expires(0)), "stale"),
        (order(expires=expires(-5)), "stale"),
        (order(expires=expires(60.1)), "valid for longer than 60 s"),
        (order(expires="2026-06-21T09:00:30"), "expires is no time"),
        (order(expires=None), "expires is no time"),
        (order(expires=1e400), "no JSON"),
        (order(expires="9" * 40), "expires is no time"),
        (order(seconds=None), "water needs seconds, at most 7200"),
        (order(seconds=0), "water needs seconds"),
        (order(seconds=-1), "water needs seconds"),
        (order(seconds=10**400), "water needs seconds"),
        (order(seconds=7201), "water needs seconds"),
        (order(seconds=True), "water needs seconds"),
        (order(seconds="60"), "water needs seconds"),
        (order(do="pause", seconds=43_201), "pause needs seconds, at most 43200"),
        (order(do="stop"), "stop has no seconds"),
        (order(do="acknowledge", seconds=None, alert="../x"), "alert is no name of one"),
        (order(alert="sump-low"), "water has no alert"),
        (order(by="root"), "unknown: by"),
        (order(is_remote=False), "unknown: is_remote"),
    ],
)
def test_what_is_no_plain_order_is_refused_with_the_reason(told: dict[str, Any], reason: str) -> None:
    found = judged(told)

    assert isinstance(found, Refusal)
    assert reason in found.reason


@pytest.mark.parametrize(
    "payload",
    [b"", b"stop", b"[]", b"null", b"{}", b'{"id": 1}', b'{"id": ""}', b'{"id": "../x"}', b'{"id": "a b"}', b"\xff",
     b'{"id": "' + b"a" * 65 + b'"}', b"[" * 500, b" " * 1025, b'{"id": "a", "seconds": NaN}'],
)  # fmt: skip
def test_what_has_no_id_is_not_even_answered(payload: bytes) -> None:
    found = judge(payload, False, NOW_S)

    assert isinstance(found, Refusal)
    assert found.id is None


def test_a_retained_order_is_refused() -> None:
    assert judged(order(), is_retained=True) == Refusal("a-1", "retained: an order is given once")


@pytest.mark.parametrize(
    ("told", "socket"),
    [
        (order(), {"do": "water", "is_remote": True, "seconds": 60.0}),
        (order(expires=expires(60)), {"do": "water", "is_remote": True, "seconds": 60.0}),
        (order(do="stop", seconds=None), {"do": "stop", "is_remote": True}),
        (order(do="resume", seconds=None), {"do": "resume", "is_remote": True}),
        (order(do="pause", seconds=600), {"do": "pause", "is_remote": True, "seconds": 600.0}),
        (order(do="acknowledge", seconds=None), {"do": "acknowledge", "is_remote": True}),
        (
            order(do="acknowledge", seconds=None, alert="sump-low"),
            {"do": "acknowledge", "is_remote": True, "text": "sump-low"},
        ),
    ],
)
def test_a_plain_order_reaches_the_socket_as_one_from_afar(told: dict[str, Any], socket: dict[str, Any]) -> None:
    found = judged(told)

    assert isinstance(found, Command)
    assert found.order() == socket


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=12,
)
LIKELY = st.fixed_dictionaries(
    {},
    optional={
        "id": st.sampled_from(["a", "b-1"]) | JSON,
        "do": st.sampled_from([*ALLOWED, "clear", "soak"]) | JSON,
        "expires": st.floats(-100, 100).map(expires) | JSON,
        "seconds": st.floats(-10, 50_000) | JSON,
        "alert": st.sampled_from(["sump-low", "../"]) | JSON,
        "more": JSON,
    },
)


@given(st.binary(max_size=1200) | (JSON | LIKELY).map(lambda told: json.dumps(told).encode()), st.booleans())
def test_no_message_whatever_raises_or_becomes_more_than_an_allowed_order(
    payload: bytes, is_retained: bool
) -> None:
    found = judge(payload, is_retained, NOW_S)

    if isinstance(found, Command):
        told = json.loads(payload)
        assert not is_retained
        assert found.do in {"stop", "pause", "resume", "acknowledge", "water"}
        assert 0 < datetime.fromisoformat(told["expires"]).timestamp() - NOW_S <= 60.0
        assert set(found.order()) <= {"do", "is_remote", "seconds", "text"}
        assert found.order()["is_remote"] is True


# --- in the daemon ------------------------------------------------------------------------------


def from_afar(bench: Bench, kind: OrderKind, seconds: float = 0.0) -> Answer:
    outputs = bench.tell(Order(7, kind, "waaler-notify, by MQTT", seconds, is_remote=True))
    return next(output for output in outputs if isinstance(output, Answer))


@pytest.mark.parametrize(
    "kind",
    [kind for kind in OrderKind if kind.value not in {"stop", "pause", "resume", "acknowledge", "water"}],
)
def test_the_daemon_itself_takes_no_other_order_from_afar(kind: OrderKind) -> None:
    answer = from_afar(Bench(), kind, 600.0)

    assert not answer.is_done
    assert answer.text == f"refused: {kind.value} is not taken over a network"


@pytest.mark.parametrize("kind", [OrderKind.RESUME, OrderKind.PAUSE, OrderKind.WATER])
@pytest.mark.parametrize("standing", [OrderKind.SERVICE, OrderKind.SOAK])
def test_nothing_from_afar_moves_water_while_hands_may_be_in_it(kind: OrderKind, standing: OrderKind) -> None:
    bench = Bench()
    bench.order(standing, 3600.0)

    answer = from_afar(bench, kind, 60.0)

    assert not answer.is_done
    assert [hold.kind.value for hold in bench.core.guard.holds] == [standing.value]


def test_a_pause_may_be_ended_from_afar_and_nothing_at_all_while_the_clock_is_unsure() -> None:
    bench = Bench()
    bench.order(OrderKind.PAUSE, 3600.0)
    assert from_afar(bench, OrderKind.RESUME).is_done
    unsure = Bench(is_sure=False)

    answer = from_afar(unsure, OrderKind.STOP)

    assert (answer.is_done, answer.text) == (False, "refused: the clock is unsure")


# --- over a real broker -------------------------------------------------------------------------


class Grower:
    """Publishes orders and keeps the answers."""

    def __init__(self, broker: Mosquitto, listener: Listener) -> None:
        self._listener = listener
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="grower", protocol=MQTTProtocolVersion.MQTTv5)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()

    def give(self, payload: bytes, is_retained: bool = False) -> None:
        self.publish("waaler/terrace/do", payload, is_retained)

    def publish(self, topic: str, payload: bytes, is_retained: bool) -> None:
        self._client.publish(topic, payload, qos=1, retain=is_retained).wait_for_publish(10)

    def order(self, command: str, **more: Any) -> None:
        told = {"id": command, "expires": expires(30, time.time()), **more}
        self.give(json.dumps(told).encode())

    def answer(self) -> tuple[str, bool, str]:
        told = json.loads(self._listener.topic("waaler/terrace/answer").text)
        return told["id"], told["ok"], told["text"]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def orders_on(broker: Mosquitto) -> Broker:
    return Broker("127.0.0.1", broker.port, longest_wait_s=1.0, has_commands=True)


def test_an_order_is_carried_out_once_and_answered(
    broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    follow(orders_on(broker))
    listener.topic("waaler/terrace/status")
    grower = Grower(broker, listener)

    grower.order("w-1", do="water", seconds=90)
    assert grower.answer() == ("w-1", True, "water done")
    grower.order("w-1", do="water", seconds=90)
    assert grower.answer() == ("w-1", False, "refused: this id was used before")
    grower.order("w-2", do="clear")
    assert grower.answer() == ("w-2", False, "refused: allowed: acknowledge, pause, resume, stop, water")

    grower.close()
    assert daemon.asked == [{"do": "water", "is_remote": True, "seconds": 90.0}]


def test_a_retained_order_a_flood_and_what_is_too_large_change_nothing(
    broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    grower = Grower(broker, listener)
    retained = {"id": "old", "do": "water", "seconds": 60, "expires": expires(50, time.time())}
    grower.give(json.dumps(retained).encode(), is_retained=True)
    follow(orders_on(broker))
    assert grower.answer() == ("old", False, "refused: retained: an order is given once")

    for n in range(300):
        grower.give(b"x" * (n * 50))
    grower.give(b"x" * 200_000)
    daemon.asked.clear()
    deadline_s = time.monotonic() + 20
    while not daemon.asked:  # a flood may have pushed out the first of them
        assert time.monotonic() < deadline_s
        grower.order(f"after-{time.monotonic()}", do="stop")
        grower.answer()

    grower.close()
    assert daemon.asked == [{"do": "stop", "is_remote": True}]


HOSTILE = st.tuples(
    st.sampled_from(["do", "alert/sump-low", "alert/x", "alert/" + "y" * 200, "status", "online"]),
    st.binary(max_size=3000)
    | (JSON | LIKELY).map(lambda told: json.dumps(told).encode())
    | st.integers(1, 120_000).map(lambda size: b"[" * size),
    st.booleans(),
)


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(messages=st.lists(HOSTILE, max_size=6))
def test_whatever_comes_on_whatever_topic_the_next_plain_order_is_carried_out_and_nothing_else_is(
    hostile: "Hostile", messages: list[tuple[str, bytes, bool]]
) -> None:
    for topic, payload, is_retained in messages:
        hostile.grower.publish(f"waaler/terrace/{topic}", payload, is_retained)

    hostile.count += 1
    hostile.grower.order(f"plain-{hostile.count}", do="stop")
    while hostile.grower.answer()[0] != f"plain-{hostile.count}":
        pass
    assert hostile.daemon.asked == [{"do": "stop", "is_remote": True}] * hostile.count


@dataclass
class Hostile:
    grower: "Grower"
    daemon: FakeDaemon
    count: int = 0


@pytest.fixture
def hostile(broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow) -> Iterator[Hostile]:
    listener = listen()
    follow(orders_on(broker))
    listener.topic("waaler/terrace/status")
    grower = Grower(broker, listener)
    yield Hostile(grower, daemon)
    grower.close()


def test_while_the_clock_is_unsure_or_the_daemon_away_every_order_is_refused(
    broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow
) -> None:
    daemon.status["clock"] = "unsure"
    listener = listen()
    follow(orders_on(broker))
    listener.topic("waaler/terrace/status")
    grower = Grower(broker, listener)

    grower.order("s-1", do="stop")
    assert grower.answer() == ("s-1", False, "refused: the clock is unsure, or the daemon does not answer")
    grower.close()
    assert daemon.asked == []


def test_a_bed_whose_file_says_nothing_of_orders_does_not_even_listen(
    broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    follow(Broker("127.0.0.1", broker.port, longest_wait_s=1.0))
    listener.topic("waaler/terrace/status")
    grower = Grower(broker, listener)

    grower.order("s-1", do="stop")
    daemon.status = {**daemon.status, "state": "pause"}
    listener.wait_for(lambda m: m.topic.endswith("/status") and "pause" in m.text, "the next status")

    grower.close()
    assert daemon.asked == []
    assert not [message for message in listener.seen if message.topic.endswith("/answer")]


def test_an_id_stays_used_after_a_restart_and_cannot_be_used_where_it_cannot_be_noted(places: Places) -> None:
    first = Deliveries(places.deliveries, "commands")
    assert first.is_first("a", NOW_S, 86_400.0)
    first.close()
    second = Deliveries(places.deliveries, "commands")

    assert not second.is_first("a", NOW_S + 60, 86_400.0)
    assert second.is_first("b", NOW_S + 60, 86_400.0)
    second._db.execute("DROP TABLE command")
    assert not second.is_first("c", NOW_S + 60, 86_400.0)
    second.close()
