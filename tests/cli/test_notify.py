"""`waaler notify` as a process."""

import json
import signal
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from pathlib import Path

import pytest
from tests.cli.test_history import BED, write_run
from tests.notify.mosquitto import WAIT_S, Listener, Mosquitto
from tests.notify.servers import WebServer

from waaler.core.facts import AlertRaised, Severity
from waaler.guard.messages import Instant
from waaler.notify.service import broker_of
from waaler.records.store import Store
from waaler.settings import Mqtt

COMMAND = [sys.executable, "-m", "waaler.cli.main", "notify"]


@pytest.fixture
def bed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    file = tmp_path / "terrace.yaml"
    file.write_text(BED)
    return file


def write_alert(bed: Path, kind: str) -> None:
    with closing(Store(bed.parent / "terrace.db", "boot-a")) as store:
        store.write([AlertRaised(Instant(0.0, time.time()), kind, Severity.SOON, f"{kind}.")])


def run(bed: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, str(bed)], capture_output=True, text=True, timeout=WAIT_S)


def test_a_file_that_names_nobody_is_nothing_to_do(bed: Path) -> None:
    done = run(bed)

    assert done.returncode == 0
    assert done.stdout == "terrace: nothing to do: the file names nobody; add `mqtt:`, `mail:` or `webhooks:`\n"


def test_a_password_file_that_is_missing_is_named(bed: Path) -> None:
    bed.write_text(f"{BED}mqtt: {{host: 127.0.0.1, user: terrace, password_file: {bed.parent}/secret}}\n")

    done = run(bed)

    assert done.returncode == 1
    assert (
        done.stderr == f"terrace: cannot notify: {bed.parent}/secret: cannot be read: No such file or directory\n"
    )


@pytest.mark.parametrize(("kept", "password"), [("secret\n", "secret"), ("\n", None)])
def test_without_a_password_file_the_service_manager_s_credential_is_the_password(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept: str, password: str | None
) -> None:
    (tmp_path / "mqtt-password").write_text(kept)
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))

    assert broker_of(Mqtt("127.0.0.1", 1883, "terrace")).password == password


def test_a_child_ends_when_the_daemon_that_started_it_was_killed(bed: Path) -> None:
    with ExitStack() as stack:
        broker = Mosquitto(bed.parent)
        stack.callback(broker.kill)
        bed.write_text(f"{BED}mqtt: {{host: 127.0.0.1, port: {broker.port}}}\n")
        listener = Listener(broker.port)
        stack.callback(listener.close)
        program = "import subprocess, sys; subprocess.run(sys.argv[1:])"
        parent = subprocess.Popen([sys.executable, "-c", program, *COMMAND, "--child", str(bed)])
        stack.callback(parent.wait)
        stack.callback(parent.kill)
        assert listener.topic("waaler/terrace/online").text == "true"

        parent.kill()

        assert listener.topic("waaler/terrace/online").text == "false"


def test_it_tells_of_a_run_refuses_a_second_one_and_says_goodbye(bed: Path) -> None:
    with ExitStack() as stack:
        broker = Mosquitto(bed.parent)
        stack.callback(broker.kill)
        bed.write_text(f"{BED}mqtt: {{host: 127.0.0.1, port: {broker.port}}}\n")
        listener = Listener(broker.port)
        stack.callback(listener.close)
        process = subprocess.Popen([*COMMAND, str(bed)])
        stack.callback(process.wait)
        stack.callback(process.kill)
        assert listener.topic("waaler/terrace/online").text == "true"

        write_run(bed, 0)
        assert json.loads(listener.topic("waaler/terrace/run").text)["outcome"] == "done"
        second = run(bed)
        process.send_signal(signal.SIGTERM)

        assert listener.topic("waaler/terrace/online").text == "false"
        assert process.wait(timeout=WAIT_S) == 0
        assert second.returncode == 1
        assert second.stderr == "terrace: cannot notify: another `waaler notify` serves this bed\n"


def test_an_edit_of_its_channels_is_taken_up_by_itself(bed: Path) -> None:
    with ExitStack() as stack:
        first, second = (stack.enter_context(closing(WebServer())) for _ in range(2))
        bed.write_text(f"{BED}webhooks: [{{url: '{first.url}'}}]\n")
        write_alert(bed, "leak")
        process = subprocess.Popen([*COMMAND, str(bed)])
        stack.callback(process.wait)
        stack.callback(process.kill)
        assert "leak" in first.got.get(timeout=WAIT_S)[2].decode()

        bed.write_text(f"title: Upper terrace\n{BED}webhooks: [{{name: other, url: '{second.url}'}}]\n")
        told = second.got.get(timeout=WAIT_S)[2].decode()

        assert "[Upper terrace]" in told
        assert process.poll() is None
