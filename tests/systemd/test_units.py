"""The units, held by systemd's own judges."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "systemd"
UNITS = sorted(FOLDER.glob("*.service"))
WORST = {"waaler@.service": 0.8, "waaler-notify@.service": 1.2, "waaler-page.service": 1.2}
"""Exposure, of 10, that `systemd-analyze security` may find: 0.6, 1.1 and 1.0 with version 252, and a little more."""

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is missing: apt install systemd"
)


def test_every_unit_has_its_goal() -> None:
    assert {unit.name for unit in UNITS} == set(WORST)


@needs_systemd
@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_unit_is_closed_as_far_as_its_work_allows(unit: Path) -> None:
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", str(unit)], capture_output=True, text=True, timeout=60
    )

    found = re.search(r"exposure level for \S+: ([0-9.]+)", done.stdout)
    assert found, done.stdout + done.stderr
    assert float(found[1]) <= WORST[unit.name]


@needs_systemd
@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_systemd_knows_every_line_of_a_unit(unit: Path, tmp_path: Path) -> None:
    """It ends with 0 whatever it finds, so that only silence counts; the programs need not be installed here."""
    text = unit.read_text().replace("/opt/waaler/current/bin/waaler", "/bin/true")
    copy = tmp_path / unit.name
    copy.write_text(text.replace("/opt/waaler/current/bin/python", "/bin/true"))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(copy)], capture_output=True, text=True, timeout=60
    )

    assert done.stdout + done.stderr == ""


def keys(unit: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in (FOLDER / unit).read_text().splitlines():
        if not line.startswith(("#", "[")) and "=" in line:
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


def test_nothing_stands_in_the_way_of_the_daemon_s_start() -> None:
    told = keys("waaler@.service")

    assert not {"ExecStartPre", "ExecCondition", "ConditionPathExists", "Requires", "After", "Wants"} & set(told)
    assert told["StartLimitIntervalSec"] == ["0"]
    assert told["Restart"] == ["always"]


def test_every_end_of_the_daemon_switches_the_relay_off() -> None:
    told = keys("waaler@.service")

    assert told["ExecStopPost"] == ["/opt/waaler/current/bin/python -I -m waaler.off %t/waaler/%i %i"]
    assert (told["WatchdogSec"], told["WatchdogSignal"]) == (["10"], ["SIGKILL"])


def test_only_the_daemon_reaches_pins_and_only_the_notifier_both_socket_and_network() -> None:
    daemon, notify, page = (
        keys(unit) for unit in ("waaler@.service", "waaler-notify@.service", "waaler-page.service")
    )

    assert daemon["PrivateNetwork"] == ["yes"]
    assert daemon["RestrictAddressFamilies"] == ["AF_UNIX"]
    assert "DeviceAllow" not in notify | page
    assert page["RestrictAddressFamilies"] == ["AF_INET AF_INET6"]
    assert page["SupplementaryGroups"] == ["waaler-read"]
    assert notify["SupplementaryGroups"] == ["waaler waaler-read"]
