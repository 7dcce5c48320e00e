"""In the clean root, as root: one row for each thing that a person would do, and whether it was as it should be."""

import json
import os
import pwd
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

UNIT = Path("/etc/systemd/system/waaler@.service")
BED = Path("/etc/waaler/terrace.yaml")
STATE, RUN = Path("/var/lib/waaler/terrace"), Path("/run/waaler/terrace")
SHORT = "\nlimits: {start_delay: 5 s, rest: 10 s, settle_sump: 1 min, settle_tray: 1 min, run_back: 1 min}\nclock: trusted\n"
failures: list[str] = []


def row(what: str, found: object, is_right: bool) -> None:
    print(f"{'ok   ' if is_right else 'WRONG'} {what:34} {found}", flush=True)
    if not is_right:
        failures.append(what)


def shell(
    *words: str, user: str | None = None, groups: tuple[str, ...] = (), timeout: float = 600
) -> tuple[int, str]:
    done = subprocess.run(
        [*as_user(user, groups), *words], capture_output=True, text=True, timeout=timeout, check=False
    )
    return done.returncode, (done.stdout + done.stderr).strip()


def as_user(user: str | None, groups: tuple[str, ...] = (), *more: str) -> list[str]:
    """As the service manager changes to a unit's user: no other group, no capability, none to gain."""
    if user is None:
        return []
    own = str(pwd.getpwnam(user).pw_gid)
    given = ["--groups", ",".join(groups)] if groups else ["--clear-groups"]
    rights = ["--no-new-privs", "--bounding-set", "-all", "--inh-caps", "-all"]
    return ["setpriv", "--reuid", user, "--regid", own, *given, *rights, *more]


def unit_says(key: str) -> list[str]:
    return re.findall(rf"^{key}=(.*)$", UNIT.read_text(), re.MULTILINE)


def until(condition: Callable[[], object], seconds: float) -> float | None:
    began = time.monotonic()
    while time.monotonic() < began + seconds:
        if condition():
            return time.monotonic() - began
        time.sleep(0.05)
    return None


class Manager:
    """The listening end of the service manager's notice protocol."""

    def __init__(self) -> None:
        self.path = "/run/notify"
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(self.path)
        os.chmod(self.path, 0o777)
        self._socket.setblocking(False)
        self.heard: list[str] = []

    def has_heard(self, word: str) -> bool:
        try:
            while True:
                self.heard.append(self._socket.recv(4096).decode())
        except BlockingIOError:
            return word in self.heard


def start_daemon(manager: Manager) -> subprocess.Popen[bytes]:
    """The unit's own command on a simulated bed: its user, groups, folders, file mode, no network."""
    RUN.mkdir(parents=True)
    os.chown(RUN, pwd.getpwnam("waaler").pw_uid, pwd.getpwnam("waaler").pw_gid)
    RUN.chmod(int(unit_says("RuntimeDirectoryMode")[0], 8))
    command = unit_says("ExecStart")[0].replace("%i", "terrace").replace(" run ", " run --simulated ").split()
    (groups,) = (tuple(line.split()) for line in unit_says("SupplementaryGroups"))
    environment = {
        "STATE_DIRECTORY": str(STATE),
        "RUNTIME_DIRECTORY": str(RUN),
        "LG_WD": str(RUN),
        "NOTIFY_SOCKET": manager.path,
        "PATH": "/usr/bin",
    }
    return subprocess.Popen(
        ["unshare", "--net", *as_user("waaler", groups), *command],
        env=environment,
        cwd=RUN,
        umask=int(unit_says("UMask")[0], 8),
        stderr=open("/var/tmp/daemon.log", "wb"),
    )


def install() -> None:
    status, told = shell("sh", "/src/systemd/install", "--bed", "terrace")
    print("    " + told.replace("\n", "\n    "))
    row("systemd/install --bed terrace", f"exit {status}", status == 0)
    row("the example is not started", "", "edit it, then run this again" in told)
    example = BED.read_text()
    BED.write_text(re.sub(r"(?ms)^(limits|clock):.*?(?=^\S|\Z)", "", example) + SHORT)
    status, told = shell("waaler", "check", str(BED))
    row("waaler check", told.splitlines()[-1], status == 0)
    status, told = shell("sh", "/src/systemd/install", timeout=300)
    row("the same again", f"exit {status}", status == 0 and "is installed already" in told)
    wanted = Path("/etc/systemd/system/multi-user.target.wants")
    found = sorted(path.name for path in wanted.glob("waaler*"))
    row("enabled", " ".join(found), len(found) == 3)


def keep(manager: Manager, daemon: subprocess.Popen[bytes]) -> None:
    ready = until(lambda: manager.has_heard("READY=1"), 30)
    row(
        "the daemon is ready",
        f"{ready:.1f} s" if ready else Path("/var/tmp/daemon.log").read_text(),
        ready is not None,
    )
    fed = until(lambda: manager.has_heard("WATCHDOG=1"), 10)
    row("it feeds the watchdog", "", fed is not None)
    for line in Path("/proc", str(daemon.pid), "status").read_text().splitlines():
        if line.startswith(("CapEff", "VmHWM")):
            print("     ", line)
    subprocess.run(["adduser", "--quiet", "--disabled-password", "--gecos", "", "anna"], check=True)
    status, told = shell("waaler", "status", str(BED), user="anna")
    row("anna, of no group, asks", told, status == 1 and "adduser YOU waaler" in told)
    granted = until(lambda: shell("waaler", "water", "4s", str(BED), user="anna", groups=("waaler",))[0] == 0, 120)
    row("anna, of waaler, waters 4 s", "granted" if granted is not None else "refused", granted is not None)
    time.sleep(6)
    _, told = shell("waaler", "history", "--json", str(BED), user="anna", groups=("waaler-read",))
    runs = [run for run in json.loads(told)["runs"] if run["ran_seconds"]] if told.startswith("{") else []
    row(
        "anna, of waaler-read, looks",
        f"{runs[-1]['outcome']}, by {runs[-1].get('by')}" if runs else told,
        bool(runs),
    )
    status, told = shell("waaler", "history", str(BED), user="anna")
    row("anna, of no group, looks", told, status == 1 and "waaler-read" in told)
    long = until(lambda: shell("waaler", "water", "60s", str(BED))[0] == 0, 120)
    status, told = shell("waaler", "stop", str(BED), user="anna", groups=("waaler",))
    row("a long run is stopped by hand", told, long is not None and status == 0)


def look() -> None:
    page = subprocess.Popen(
        [
            *as_user("waaler-page", ("waaler-read",)),
            "/opt/waaler/current/bin/waaler",
            "page",
            "--listen",
            "127.0.0.1:8099",
        ],
        env={"XDG_STATE_HOME": "/var/lib", "PATH": "/usr/bin"},
        stdout=subprocess.DEVNULL,
    )
    ask = (
        "import urllib.request as r; print(r.urlopen('http://127.0.0.1:8099/bed/terrace/history').read().decode())"
    )
    shown = until(lambda: shell("python3", "-c", ask)[0] == 0, 120)
    _, told = shell("python3", "-c", ask)
    row("the page shows the runs", f"{len(told)} letters", shown is not None and "anna" in told)
    connect = f"import socket; socket.socket(socket.AF_UNIX).connect('{RUN}/terrace.sock')"
    status, told = shell("python3", "-c", connect, user="waaler-page", groups=("waaler-read",))
    row("its user asks the daemon", told.splitlines()[-1], status == 1 and "PermissionError" in told)
    status, told = shell("touch", str(STATE / "x"), user="waaler-page", groups=("waaler-read",))
    row("its user writes beside the records", told, status == 1)
    page.terminate()
    page.wait(10)


def end(daemon: subprocess.Popen[bytes]) -> None:
    daemon.send_signal(signal.SIGTERM)
    row("the daemon ends on SIGTERM", f"exit {daemon.wait(15)}", daemon.returncode == 0)
    modes = {path.name: f"{oct(path.stat().st_mode)[-3:]} {path.group()}" for path in STATE.iterdir()}
    row("records", modes, all(mode.endswith("waaler-read") for mode in modes.values()))
    status, _ = shell("sh", "/src/systemd/install", "--uninstall")
    left = [path for path in ("/opt/waaler", "/usr/local/bin/waaler", str(UNIT)) if os.path.lexists(path)]
    row("systemd/install --uninstall", f"exit {status}, left {left}", status == 0 and not left)
    row("file and records are kept", "", BED.exists() and (STATE / "terrace.db").exists())
    begin = time.monotonic()
    status, _ = shell("sh", "/src/systemd/install")
    row("installed once more", f"exit {status}, {time.monotonic() - begin:.0f} s", status == 0)


def main() -> None:
    install()
    manager = Manager()
    daemon = start_daemon(manager)
    try:
        keep(manager, daemon)
        look()
        end(daemon)
    finally:
        daemon.kill()
    print(f"{len(failures)} wrong")
    sys.exit(1 if failures else 0)


main()
