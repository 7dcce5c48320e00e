"""Every payload against the published schemas, and the example of a shared broker."""

import json
import shutil
import subprocess
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker, ValidationError
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from tests.keeper.process import Daemon
from tests.notify.mosquitto import Listener, Mosquitto
from tests.notify.test_mqtt import make_authority, wait_until
from tests.records.facts import whole_run

from waaler.core.facts import AlertAcknowledged, AlertRaised, AlertReminded, Outcome, Severity
from waaler.guard.messages import Instant
from waaler.notify.broker import Broker
from waaler.notify.senml import pack
from waaler.records.store import Store

CONFIG = Path(__file__).parents[2] / "config" / "mqtt"
SCHEMAS = json.loads((CONFIG / "messages.schema.json").read_text())
Follow = Callable[[Broker], Callable[[], None]]
Listen = Callable[..., Listener]


def check(what: str, payload: Any) -> None:
    schema = {"$ref": f"#/$defs/{what}", "$defs": SCHEMAS["$defs"]}
    Draft202012Validator(schema, format_checker=FormatChecker()).validate(payload)


def now(after_s: float = 0.0) -> Instant:
    import time

    return Instant(1000.0 + after_s, time.time() + after_s)


def test_the_schemas_are_valid_and_the_topics_have_one_each() -> None:
    Draft202012Validator.check_schema(SCHEMAS)

    topics = {"online", "status", "run", "alert", "sense", "heartbeat", "do", "answer"}
    assert topics <= set(SCHEMAS["$defs"])


def test_runs_alerts_and_the_rest_are_as_their_schemas_say(
    broker: Mosquitto, listen: Listen, store: Store, follow: Follow
) -> None:
    listener = listen()
    raised = AlertRaised(now(), "sump-low", Severity.URGENT, "Sump low at rest.\nRefill.")
    store.write(
        [
            *whole_run(1, 0.0, run_at=now()),
            *whole_run(2, 0.0, 0.0, Outcome.REFUSED, run_at=now(1.0)),
            raised,
            AlertReminded(now(2.0), "sump-low", "Still.", 1, 1),
            AlertAcknowledged(now(3.0), "sump-low", "anna"),
        ]
    )
    follow(Broker("127.0.0.1", broker.port, longest_wait_s=1.0))
    for n in (1, 2):
        told = json.loads(listener.topic("waaler/terrace/run").text)
        check("run", told)
        assert told["run"] == n
    listener.wait_for(
        lambda m: m.topic.endswith("/alert/sump-low") and json.loads(m.text)["acknowledged_by"] == "anna", "anna"
    )
    for message in listener.seen:
        check(message.topic.split("/")[2], json.loads(message.text))


def test_the_daemon_s_own_status_is_as_its_schema_says(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path)
    daemon.start()
    status = daemon.status()
    daemon.end()

    check("status", status)
    assert status["sump"]["litres"] == 220.0
    with pytest.raises(ValidationError):
        check("status", {**status, "clock": "maybe"})


def test_readings_are_as_their_schema_says_and_a_wrong_pack_is_not() -> None:
    at = "2026-06-21T08:00:00+01:00"
    readings = [
        {"name": name, "value": value, "unit": unit, "at": at, "valid": True}
        for name, value, unit in (("pot", 61.0, "%"), ("air", 20.5, "C"), ("tray_wet", 1.0, "1"))
    ]
    check("sense", pack("terrace", readings))
    for wrong in ([], [{"n": "a"}], [{"n": "a", "v": 1, "vb": True}], [{"v": 1}]):
        with pytest.raises(ValidationError):
            check("sense", wrong)


@pytest.mark.parametrize(
    ("told", "is_valid"),
    [
        ({"do": "water", "seconds": 60}, True),
        ({"do": "water"}, False),
        ({"do": "stop"}, True),
        ({"do": "stop", "seconds": 1}, False),
        ({"do": "clear"}, False),
        ({"do": "acknowledge", "alert": "sump-low"}, True),
        ({"do": "resume", "alert": "sump-low"}, False),
    ],
)
def test_the_schema_of_orders_allows_what_is_taken(told: dict[str, Any], is_valid: bool) -> None:
    whole = {"id": "a-1", "expires": "2026-06-21T09:00:30+01:00", **told}
    if is_valid:
        check("do", whole)
    else:
        with pytest.raises(ValidationError):
            check("do", whole)


def test_what_is_sensed_expires_and_what_is_told_does_not(
    broker: Mosquitto, listen: Listen, daemon: Any, follow: Follow
) -> None:
    listener = listen()
    follow(Broker("127.0.0.1", broker.port, longest_wait_s=1.0))
    sensed = listener.topic("waaler/terrace/sense")
    assert sensed.expiry_s is not None
    assert 590 <= sensed.expiry_s <= 600
    assert {message.topic.rpartition("/")[2] for message in listener.seen if message.expiry_s is not None} == {
        "sense"
    }


# --- the example of a shared broker -------------------------------------------------------------


@pytest.fixture
def shared(tmp_path: Path, stack: ExitStack) -> tuple[Mosquitto, Path]:
    """A broker set up by the example files, with other paths; and its authority."""
    program = shutil.which("mosquitto_passwd", path="/usr/bin:/usr/local/bin")
    assert program is not None, "mosquitto_passwd is missing: it comes with Mosquitto"
    authority = make_authority(tmp_path, "broker")
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    for name in ("terrace", "tunnel", "watcher", "grower"):
        subprocess.run([program, "-b", str(passwords), name, f"{name}-secret"], check=True, timeout=30)
    lines = (CONFIG / "mosquitto.conf").read_text()
    for example, ours in (
        ("/etc/mosquitto/waaler/ca.pem", f"{authority}.pem"),
        ("/etc/mosquitto/waaler/broker.pem", f"{authority}.pem"),
        ("/etc/mosquitto/waaler/broker.key", f"{authority}.key"),
        ("/etc/mosquitto/waaler.passwords", str(passwords)),
        ("/etc/mosquitto/waaler.acl", str(CONFIG / "mosquitto.acl")),
        ("/var/lib/mosquitto/", f"{tmp_path}/"),
    ):
        assert example in lines
        lines = lines.replace(example, ours)
    extra = [line for line in lines.splitlines() if line and not line.startswith(("#", "listener"))]
    broker = Mosquitto(tmp_path, *extra)
    stack.callback(broker.kill)
    return broker, Path(f"{authority}.pem")


def someone(shared: tuple[Mosquitto, Path], name: str, stack: ExitStack) -> Client:
    broker, authority = shared
    client = Client(CallbackAPIVersion.VERSION2, client_id=f"test-{name}", protocol=MQTTProtocolVersion.MQTTv5)
    client.username_pw_set(name, f"{name}-secret")
    client.tls_set(str(authority))
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    stack.callback(client.loop_stop)
    stack.callback(client.disconnect)
    return client


def is_taken(client: Client, topic: str) -> bool:
    """Whether the broker takes a message of this client on a topic."""
    answers: list[bool] = []
    client.on_publish = lambda _, __, ___, reason, ____: answers.append(not reason.is_failure)
    client.publish(topic, b"{}", qos=1)
    wait_until(lambda: bool(answers), "answered")
    return answers[0]


def test_each_bed_may_write_only_its_own_topics_and_only_a_grower_gives_orders(
    shared: tuple[Mosquitto, Path], stack: ExitStack
) -> None:
    terrace = someone(shared, "terrace", stack)
    mine = ["online", "status", "run", "alert/sump-low", "sense", "heartbeat", "answer"]
    assert [topic for topic in mine if not is_taken(terrace, f"waaler/terrace/{topic}")] == []
    others = [f"waaler/tunnel/{topic}" for topic in mine] + ["waaler/terrace/do", "waaler/tunnel/do", "other"]
    assert [topic for topic in others if is_taken(terrace, topic)] == []
    watcher, grower = someone(shared, "watcher", stack), someone(shared, "grower", stack)
    assert not is_taken(watcher, "waaler/terrace/do")
    assert is_taken(grower, "waaler/terrace/do")
    assert not is_taken(grower, "waaler/terrace/status")


def test_a_bed_follows_its_records_to_the_shared_broker(
    shared: tuple[Mosquitto, Path], store: Store, follow: Follow, stack: ExitStack
) -> None:
    broker, authority = shared
    got: list[str] = []
    watcher = someone(shared, "watcher", stack)
    watcher.on_message = lambda _, __, message: got.append(message.topic)
    watcher.subscribe("waaler/#", qos=1)
    follow(Broker("127.0.0.1", broker.port, "terrace", "terrace-secret", authority, longest_wait_s=1.0))
    store.write(whole_run(1, 0.0, run_at=now()))

    wanted = {"waaler/terrace/online", "waaler/terrace/status", "waaler/terrace/run"}
    wait_until(lambda: wanted <= set(got), f"all of {wanted}")
