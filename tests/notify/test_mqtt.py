"""What a subscriber of a real broker sees."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from structlog.testing import capture_logs
from tests.notify.conftest import FakeDaemon
from tests.notify.mosquitto import WAIT_S, Listener, Mosquitto
from tests.records.facts import whole_run

from waaler.core.facts import AlertRaised, AlertResolved, Outcome, Severity
from waaler.guard.messages import Instant
from waaler.notify.broker import Broker
from waaler.notify.deliveries import Deliveries
from waaler.notify.places import Places
from waaler.records.reader import Reader
from waaler.records.store import Store

Follow = Callable[[Broker], Callable[[], None]]
Listen = Callable[..., Listener]

LOW = "Sump low at rest."


def now(after_s: float = 0.0) -> Instant:
    """Messages are told from a day back on, so these facts are of today."""
    return Instant(1000.0 + after_s, time.time() + after_s)


def raised(after_s: float = 0.0) -> AlertRaised:
    return AlertRaised(now(after_s), "sump-low", Severity.URGENT, LOW)


def address(broker: Mosquitto, **more: object) -> Broker:
    return Broker("127.0.0.1", broker.port, longest_wait_s=1, **more)  # type: ignore[arg-type]


def wait_until(is_so: Callable[[], bool], what: str, seconds: float = WAIT_S) -> None:
    """For what happens on this side of the broker, where nothing can be waited for."""
    pause, deadline_s = threading.Event(), time.monotonic() + seconds
    while not is_so():
        assert time.monotonic() < deadline_s, f"not {what} within {seconds:.0f} s"
        pause.wait(0.02)


# --- refusals -----------------------------------------------------------------------------------


def test_a_wrong_password_is_logged_once_and_does_not_end_the_notifier(
    tmp_path: Path, stack: ExitStack, follow: Follow
) -> None:
    (tmp_path / "passwords").write_text("")
    broker = Mosquitto(tmp_path, "allow_anonymous false", f"password_file {tmp_path}/passwords")
    stack.callback(broker.kill)

    with capture_logs() as logs:
        end = follow(address(broker, user="terrace", password="wrong"))
        refusals = (tmp_path / "mosquitto.log").read_text
        wait_until(lambda: refusals().count("not authorised") >= 2, "refused twice")
        end()

    told = [entry for entry in logs if entry["event"] == "broker_away"]
    assert [entry["reason"] for entry in told] == ["refused: Not authorized"]
    assert "wrong" not in json.dumps(told)


def test_an_unknown_authority_is_logged_by_its_reason(tmp_path: Path, stack: ExitStack, follow: Follow) -> None:
    ours, theirs = make_authority(tmp_path, "ours"), make_authority(tmp_path, "theirs")
    broker = Mosquitto(tmp_path, f"certfile {theirs}.pem", f"keyfile {theirs}.key")
    stack.callback(broker.kill)

    with capture_logs() as logs:
        end = follow(address(broker, ca_file=Path(f"{ours}.pem")))
        wait_until(lambda: any(entry["event"] == "broker_away" for entry in logs), "logged")
        end()

    told = next(entry for entry in logs if entry["event"] == "broker_away")
    assert "certificate verify failed" in told["reason"]


def test_with_the_right_authority_and_our_own_certificate_the_connection_stands(
    tmp_path: Path, stack: ExitStack, follow: Follow
) -> None:
    ours, theirs = make_authority(tmp_path, "ours"), make_authority(tmp_path, "theirs")
    broker = Mosquitto(
        tmp_path,
        f"certfile {theirs}.pem",
        f"keyfile {theirs}.key",
        f"cafile {ours}.pem",
        "require_certificate true",
    )
    stack.callback(broker.kill)

    with capture_logs() as logs:
        end = follow(
            address(
                broker,
                ca_file=Path(f"{theirs}.pem"),
                certificate_file=Path(f"{ours}.pem"),
                key_file=Path(f"{ours}.key"),
            )
        )
        wait_until(lambda: bool(logs), "logged")
        end()

    assert [entry["event"] for entry in logs] == ["broker_connected"]


def test_a_message_that_the_broker_refuses_is_parked_with_its_reason_and_sent_once(
    tmp_path: Path, stack: ExitStack, store: Store, places: Places, follow: Follow
) -> None:
    rules = tmp_path / "rules"
    rules.write_text("topic deny waaler/terrace/run\ntopic readwrite #\n")
    broker = Mosquitto(tmp_path, f"acl_file {rules}", "log_type all")
    stack.callback(broker.kill)
    listener = Listener(broker.port)
    stack.callback(listener.close)
    store.write([*whole_run(1, 0.0, run_at=now()), raised()])

    end = follow(address(broker))
    listener.topic("waaler/terrace/alert/sump-low")
    deliveries = Deliveries(places.deliveries, "mqtt")
    stack.callback(deliveries.close)
    with Reader(places.database) as reader:
        name = reader.name
    wait_until(lambda: deliveries.place(name) == 2, "both settled")
    end()

    assert deliveries.parked() == [(1, "Not authorized")]
    log = (tmp_path / "mosquitto.log").read_text()
    assert log.count("Denied PUBLISH") == 1


# --- what is told -------------------------------------------------------------------------------


def test_a_subscriber_hears_of_a_run_within_seconds_of_its_end(
    broker: Mosquitto, listen: Listen, store: Store, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    follow(address(broker))
    listener.topic("waaler/terrace/status")

    ended_s = time.monotonic()
    store.write(whole_run(7, 0.0, 40.0, Outcome.CUT_SHORT, reason="cut short: sump low", run_at=now()))
    message = listener.topic("waaler/terrace/run")

    assert time.monotonic() - ended_s < 5.0
    assert (message.content_type, message.is_retained) == ("application/json", False)
    told = json.loads(message.text)
    assert told["id"].endswith("-run-7")
    assert (told["bed"], told["outcome"], told["ran_seconds"]) == ("terrace", "cut short", 40.0)
    assert told["ended_because"] == "cut short: sump low"


def test_status_is_retained_and_told_again_when_it_changes(
    broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    follow(address(broker))

    first = listener.topic("waaler/terrace/status")
    daemon.status = {**daemon.status, "state": "pause"}
    second = listener.topic("waaler/terrace/status")

    assert json.loads(first.text)["state"] == "waiting"
    assert (json.loads(second.text)["state"], json.loads(second.text)["bed"]) == ("pause", "terrace")
    assert second.content_type == "application/json"
    late = listen("late").topic("waaler/terrace/status")
    assert late.is_retained
    assert json.loads(late.text)["state"] == "pause"


def test_a_daemon_that_is_away_is_told(broker: Mosquitto, listen: Listen, follow: Follow) -> None:
    listener = listen()
    follow(address(broker))

    told = json.loads(listener.topic("waaler/terrace/status").text)

    assert told["state"] == "no answer"
    assert told["at"].endswith("00")


def test_readings_come_as_a_senml_pack(
    broker: Mosquitto, listen: Listen, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    follow(address(broker))

    message = listener.topic("waaler/terrace/sense")

    assert message.content_type == "application/senml+json"
    assert json.loads(message.text) == [
        {"bn": "waaler/terrace/", "bt": 1782025210.0, "n": "pot", "u": "/", "v": 0.61, "t": -10.0},
        {"n": "air", "u": "Cel", "v": 24.5},
    ]


def test_an_alert_is_retained_until_it_is_resolved(
    broker: Mosquitto, listen: Listen, store: Store, follow: Follow
) -> None:
    listener = listen()
    follow(address(broker))
    store.write([raised()])

    told = json.loads(listener.topic("waaler/terrace/alert/sump-low").text)
    assert (told["severity"], told["text"]) == ("urgent", LOW)
    assert listen("second").topic("waaler/terrace/alert/sump-low").is_retained

    store.write([AlertResolved(now(5.0), "sump-low")])
    listener.wait_for(lambda m: (m.topic, m.text) == ("waaler/terrace/alert/sump-low", ""), "empty alert")
    third = listen("third")
    third.topic("waaler/terrace/status")
    assert "waaler/terrace/alert/sump-low" not in {message.topic for message in third.seen}


def test_an_alert_that_only_the_broker_remembers_is_cleared(
    broker: Mosquitto, listen: Listen, store: Store, follow: Follow
) -> None:
    listener = listen()
    listener._client.publish("waaler/terrace/alert/overrun", b'{"kind": "overrun"}', qos=1, retain=True)
    listener.topic("waaler/terrace/alert/overrun")
    store.write([raised()])

    follow(address(broker))

    assert listener.topic("waaler/terrace/alert/overrun").text == ""
    late = listen("late")
    late.topic("waaler/terrace/status")
    kept = {message.topic for message in late.seen if "/alert/" in message.topic}
    assert kept == {"waaler/terrace/alert/sump-low"}


# --- connections that break ---------------------------------------------------------------------

PROCESS = """
import sys
from pathlib import Path
from threading import Event
from zoneinfo import ZoneInfo
from waaler.notify.broker import Broker
from waaler.notify.follower import Follower
from waaler.notify.listener import Listener
from waaler.notify.places import Places

folder, port = Path(sys.argv[1]), int(sys.argv[2])
places = Places(folder / "terrace.db", folder / "terrace.notify.db", folder / "terrace.sock")
listener = Listener(places.control, Event())
listener.start()
Follower("terrace", ZoneInfo("Europe/Lisbon"), places, Broker("127.0.0.1", port, longest_wait_s=1), listener).run()
"""


def test_the_brokers_will_tells_of_a_killed_notifier(
    tmp_path: Path, broker: Mosquitto, listen: Listen, store: Store, stack: ExitStack
) -> None:
    listener = listen()
    process = subprocess.Popen([sys.executable, "-c", PROCESS, str(tmp_path), str(broker.port)])
    stack.callback(process.wait)
    stack.callback(process.kill)

    assert listener.topic("waaler/terrace/online").text == "true"
    os.kill(process.pid, signal.SIGKILL)

    will = listener.topic("waaler/terrace/online")
    assert (will.text, will.content_type) == ("false", "application/json")
    assert listen("late").topic("waaler/terrace/online").is_retained


def test_a_notifier_that_is_told_to_stop_says_so(broker: Mosquitto, listen: Listen, follow: Follow) -> None:
    listener = listen()
    end = follow(address(broker))
    assert listener.topic("waaler/terrace/online").text == "true"

    end()

    assert listener.topic("waaler/terrace/online").text == "false"


def test_what_happened_while_the_broker_was_away_comes_in_order_when_it_is_back(
    broker: Mosquitto, listen: Listen, store: Store, follow: Follow
) -> None:
    broker.kill()
    follow(address(broker))
    for run_id in range(1, 61):
        store.write(whole_run(run_id, 0.0, run_at=now(run_id)))

    assert broker.start()
    listener = listen()
    listener.wait_for(lambda m: m.topic.endswith("/run") and json.loads(m.text)["run"] == 60, "run 60")

    first_seen = list(dict.fromkeys(json.loads(m.text)["run"] for m in listener.seen if m.topic.endswith("/run")))
    assert first_seen == sorted(first_seen)


def test_a_broker_that_is_killed_and_restarted_hears_everything_again_that_is_retained(
    broker: Mosquitto, listen: Listen, store: Store, daemon: FakeDaemon, follow: Follow
) -> None:
    listener = listen()
    store.write([raised()])
    follow(address(broker))
    listener.topic("waaler/terrace/status")

    broker.kill()
    assert broker.start()
    again = listen("again")

    wanted = {"waaler/terrace/online", "waaler/terrace/status", "waaler/terrace/alert/sump-low"}
    while not wanted <= {message.topic for message in again.seen}:
        again.wait_for(lambda m: m.topic in wanted, "retained topics")


def test_a_notifier_killed_in_mid_delivery_loses_no_message(
    tmp_path: Path, broker: Mosquitto, listen: Listen, store: Store, stack: ExitStack
) -> None:
    listener = listen()
    for run_id in range(1, 201):
        store.write(whole_run(run_id, 0.0, run_at=now(run_id)))

    for last in (25, 90, 200):
        process = subprocess.Popen([sys.executable, "-c", PROCESS, str(tmp_path), str(broker.port)])
        stack.callback(process.wait)
        stack.callback(process.kill)
        listener.wait_for(
            lambda m, last=last: m.topic.endswith("/run") and json.loads(m.text)["run"] == last,  # type: ignore[misc]
            f"run {last}",
        )
        process.kill()
        process.wait(timeout=WAIT_S)

    runs = [json.loads(m.text)["run"] for m in listener.seen if m.topic.endswith("/run")]
    assert list(dict.fromkeys(runs)) == list(range(1, 201)), "each at least once, and first in order"
    assert len(runs) <= 200 + 2 * 20, "repeated are at most those in flight"


def make_authority(folder: Path, name: str) -> Path:
    """A certificate for this host that signs itself, and its key."""
    assert shutil.which("openssl"), "openssl is missing: install it (Debian: apt-get install openssl)"
    stem = folder / name
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days",
         "2", "-subj", f"/CN={name}", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", f"{stem}.key", "-out",
         f"{stem}.pem"],
        check=True, capture_output=True, timeout=30,
    )  # fmt: skip
    return stem
