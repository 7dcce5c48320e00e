"""A broker with TLS, passwords and certificates: what is wrong is said plainly, and the watering goes on."""

import json
import shutil
import subprocess
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import pytest
from structlog.testing import capture_logs
from tests.keeper.process import Daemon
from tests.notify.authority import Authority
from tests.notify.mosquitto import Listener, Mosquitto
from tests.notify.test_mqtt import wait_until

from waaler.notify.broker import Broker
from waaler.notify.trial import trial

Follow = Callable[[Broker], Callable[[], None]]
TRIES_S = 90.0
"""A notifier as the daemon starts it waits up to a minute between two tries."""

GONE = {"begins": "20200101000000Z", "ends": "20210101000000Z"}


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority(tmp_path)


def tls(tmp_path: Path, stack: ExitStack, certificate: Path, *more: str) -> Mosquitto:
    broker = Mosquitto(tmp_path, f"certfile {certificate}.pem", f"keyfile {certificate}.key", *more)
    stack.callback(broker.kill)
    return broker


def reasons(follow: Follow, broker: Broker) -> list[str]:
    """What the log says while the notifier tries in vain: once, however often it tries."""
    with capture_logs() as logs:
        end = follow(broker)
        wait_until(lambda: any(entry["event"] == "broker_away" for entry in logs), "logged")
        end()
    assert "secret" not in json.dumps(logs)
    return [entry["reason"] for entry in logs if entry["event"] == "broker_away"]


def address(port: int, authority: Path | None, **more: object) -> Broker:
    return Broker("127.0.0.1", port, ca_file=authority, longest_wait_s=1.0, **more)  # type: ignore[arg-type]


def test_an_expired_certificate_is_named_as_such(
    tmp_path: Path, stack: ExitStack, follow: Follow, authority: Authority
) -> None:
    broker = tls(tmp_path, stack, authority.sign("broker", **GONE))

    (reason,) = reasons(follow, address(broker.port, authority.certificate))
    assert "certificate has expired" in reason


def test_a_certificate_for_another_host_is_named_as_such(
    tmp_path: Path, stack: ExitStack, follow: Follow, authority: Authority
) -> None:
    broker = tls(tmp_path, stack, authority.sign("broker", host="DNS:elsewhere.example.org"))

    (reason,) = reasons(follow, address(broker.port, authority.certificate))
    assert "IP address mismatch" in reason


def test_a_wrong_password_over_tls_is_named_as_such(
    tmp_path: Path, stack: ExitStack, follow: Follow, authority: Authority
) -> None:
    (tmp_path / "passwords").touch(mode=0o600)
    names = ("allow_anonymous false", f"password_file {tmp_path}/passwords")
    broker = tls(tmp_path, stack, authority.sign("broker"), *names)

    told = reasons(follow, address(broker.port, authority.certificate, user="terrace", password="secret"))
    assert told == ["refused: Not authorized"]


def test_without_our_own_certificate_or_with_an_expired_one_the_broker_lets_nobody_in(
    tmp_path: Path, stack: ExitStack, authority: Authority
) -> None:
    wants = (f"cafile {authority.certificate}", "require_certificate true")
    broker = tls(tmp_path, stack, authority.sign("broker"), *wants)
    ours, gone = authority.sign("ours"), authority.sign("gone", **GONE)

    def tried(stem: Path | None) -> str | None:
        files = {} if stem is None else {"certificate_file": Path(f"{stem}.pem"), "key_file": Path(f"{stem}.key")}
        return trial(address(broker.port, authority.certificate, **files), "terrace")

    assert tried(ours) is None
    assert tried(None) is not None
    assert tried(gone) is not None


def test_a_broker_with_tls_and_a_bed_without_do_not_meet(
    tmp_path: Path, stack: ExitStack, follow: Follow, authority: Authority
) -> None:
    broker = tls(tmp_path, stack, authority.sign("broker"))
    with capture_logs() as logs:
        end = follow(address(broker.port, None))
        wait_until(lambda: (tmp_path / "mosquitto.log").read_text().count("OpenSSL Error") >= 2, "tried twice")
        end()

    assert not [entry for entry in logs if entry["event"] == "broker_connected"]


@pytest.mark.parametrize("content", ["", "no certificate\n"])
def test_a_file_that_is_no_certificate_is_named(tmp_path: Path, content: str) -> None:
    path = tmp_path / "ca.pem"
    path.write_text(content)

    with pytest.raises(OSError, match=str(path)):
        trial(address(1, path), "terrace")


# --- the whole bed ------------------------------------------------------------------------------


def test_watering_goes_on_and_all_is_told_later(tmp_path: Path, stack: ExitStack, authority: Authority) -> None:
    """A real daemon and its notifier; first the certificate is expired, then the password wrong, then all is well."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    folder = tmp_path / "b"
    folder.mkdir()
    daemon = Daemon(folder)
    stack.callback(lambda: daemon.process and daemon.process.poll() is None and daemon.end())
    gone, good = authority.sign("gone", **GONE), authority.sign("good")
    certificate = tmp_path / "used"
    names = (f"password_file {passwords}", "allow_anonymous false")
    _use(gone, certificate)
    broker = tls(tmp_path, stack, certificate, *names)
    secret = folder / "secret"
    secret.write_text("s3cret-pw\n")
    daemon.file.write_text(
        daemon.file.read_text()
        + f"mqtt: {{host: 127.0.0.1, port: {broker.port}, user: terrace, password_file: {secret},"
        f" ca_file: {authority.certificate}}}\n"
    )
    daemon.start()
    daemon.water(2.0)
    wait_until(lambda: "certificate has expired" in daemon.log.read_text(), "told of the certificate")

    broker.kill()
    _use(good, certificate)
    assert broker.start()
    wait_until(lambda: "Not authorized" in daemon.log.read_text(), "told of the password", TRIES_S)
    wait_until(lambda: "done" in [run["outcome"] for run in daemon.history()], "watered")

    program = shutil.which("mosquitto_passwd", path="/usr/bin:/usr/local/bin")
    assert program is not None
    for name in ("terrace", "reader"):
        subprocess.run([program, "-b", str(passwords), name, "s3cret-pw"], check=True, timeout=30)
    broker.kill()
    assert broker.start()
    listener = Listener(broker.port, "reader", user="reader", password="s3cret-pw", authority=authority.certificate)
    stack.callback(listener.close)
    told = listener.wait_for(
        lambda m: m.topic == "waaler/terrace/run" and json.loads(m.text)["outcome"] == "done",
        "the run that was done",
        seconds=TRIES_S,
    )

    assert json.loads(told.text)["cause"] == "by hand"
    assert "s3cret-pw" not in daemon.log.read_text()


def _use(stem: Path, as_stem: Path) -> None:
    for ending in ("pem", "key"):
        shutil.copy(f"{stem}.{ending}", f"{as_stem}.{ending}")
