"""Every payload against the published schemas, and the example of a shared broker."""

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from contextlib import ExitStack, closing
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker, ValidationError
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from structlog.testing import capture_logs
from tests.keeper.process import Daemon, until
from tests.notify.hostile import Hostile
from tests.notify.mosquitto import Listener, Mosquitto
from tests.notify.test_mqtt import make_authority, wait_until
from tests.records.facts import whole_run

from waaler.core.facts import AlertAcknowledged, AlertRaised, AlertReminded, Outcome, Severity
from waaler.core.status import ReadingNow
from waaler.guard.messages import Instant
from waaler.notify.broker import Broker
from waaler.notify.senml import pack
from waaler.notify.trial import trial
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
    status = until(lambda: (told := daemon.status())["sump"] and told, "what the first step finds of the sump")
    daemon.end()

    check("status", status)
    assert status["sump"]["litres"] == 220.0
    with pytest.raises(ValidationError):
        check("status", {**status, "clock": "maybe"})


def test_readings_are_as_their_schema_says_and_a_wrong_pack_is_not() -> None:
    at = datetime.fromisoformat("2026-06-21T08:00:00+01:00")
    readings = [
        ReadingNow(name, value, unit, at, valid=True)
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
    for name in ("terrace", "tunnel", "watcher", "grower", "person.watcher", "person.grower"):
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


def someone(shared: tuple[Mosquitto, Path], name: str, stack: ExitStack, client_id: str | None = None) -> Client:
    broker, authority = shared
    client = Client(
        CallbackAPIVersion.VERSION2, client_id=client_id or f"test-{name}", protocol=MQTTProtocolVersion.MQTTv5
    )
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
    watcher, grower = someone(shared, "person.watcher", stack), someone(shared, "person.grower", stack)
    assert not is_taken(watcher, "waaler/terrace/do")
    assert is_taken(grower, "waaler/terrace/do")
    assert not is_taken(grower, "waaler/terrace/status")


def test_a_bed_follows_its_records_to_the_shared_broker(
    shared: tuple[Mosquitto, Path], store: Store, follow: Follow, stack: ExitStack
) -> None:
    broker, authority = shared
    got: list[str] = []
    watcher = someone(shared, "person.watcher", stack)
    watcher.on_message = lambda _, __, message: got.append(message.topic)
    watcher.subscribe("waaler/#", qos=1)
    follow(Broker("127.0.0.1", broker.port, "terrace", "terrace-secret", authority, longest_wait_s=1.0))
    store.write(whole_run(1, 0.0, run_at=now()))

    wanted = {"waaler/terrace/online", "waaler/terrace/status", "waaler/terrace/run"}
    wait_until(lambda: wanted <= set(got), f"all of {wanted}")


def test_a_bed_that_is_called_like_a_role_gains_nothing_by_it(
    shared: tuple[Mosquitto, Path], stack: ExitStack
) -> None:
    rules = (CONFIG / "mosquitto.acl").read_text()
    roles = re.findall(r"^user (.*)$", rules, re.MULTILINE)

    assert len(roles) == 2
    assert not [role for role in roles if re.fullmatch(r"[a-z][a-z0-9-]{0,30}", role)], "a bed may bear this name"
    for name in ("watcher", "grower"):
        bed = someone(shared, name, stack)
        assert not is_taken(bed, "waaler/terrace/do")
        assert is_taken(bed, f"waaler/{name}/status")


def test_nobody_throws_a_bed_off_the_broker_by_taking_its_client_id(
    shared: tuple[Mosquitto, Path], follow: Follow, stack: ExitStack
) -> None:
    broker, authority = shared
    with capture_logs() as logs:
        end = follow(Broker("127.0.0.1", broker.port, "terrace", "terrace-secret", authority, longest_wait_s=1.0))
        wait_until(lambda: any(entry["event"] == "broker_connected" for entry in logs), "connected")
        for name in ("tunnel", "person.watcher"):
            for taken in ("waaler-terrace", "terrace"):
                is_taken(someone(shared, name, stack, taken), "waaler/tunnel/status")
        end()

    assert [entry["event"] for entry in logs] == ["broker_connected"]


def test_a_try_of_the_broker_beside_the_notifier_works_and_the_notifier_comes_back(
    shared: tuple[Mosquitto, Path], follow: Follow, stack: ExitStack
) -> None:
    broker, authority = shared
    address = Broker("127.0.0.1", broker.port, "terrace", "terrace-secret", authority, longest_wait_s=1.0)

    def connected() -> int:
        return sum(entry["event"] == "broker_connected" for entry in logs)

    with capture_logs() as logs:
        end = follow(address)
        wait_until(lambda: connected() == 1, "connected")
        assert trial(address, "terrace") is None
        wait_until(lambda: connected() == 2, "connected again")
        end()


def test_the_broker_is_told_how_much_a_bed_takes_at_once(stack: ExitStack) -> None:
    said: SimpleQueue[bytes] = SimpleQueue()
    server = stack.enter_context(closing(Hostile(lambda taken: said.put(taken.recv(4096)))))

    assert trial(Broker("127.0.0.1", server.port), "terrace") is not None

    greeting = said.get(timeout=20)
    assert b"\x21\x00\x14" in greeting  # receive maximum 20: MQTT 5.0, 3.1.2.11.3
    assert b"\x27\x00\x01\x00\x00" in greeting  # maximum packet size 65,536: 3.1.2.11.4
