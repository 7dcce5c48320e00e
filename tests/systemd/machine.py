"""A machine for the installer, in a folder: a service manager, a Python and a pip that note what is asked of them.

The installed `waaler` is a few lines of shell: its `check` fails on a file or records with the word BAD, and on one
with the word OLD unless its own version is 1; its `status` says what `status.json` says.
"""

import os
import subprocess
import sys
from pathlib import Path

__all__ = ["Machine"]

INSTALL = Path(__file__).parents[2] / "systemd" / "install"
WAALER = """\
#!/bin/sh
for last; do true; done
here=$(dirname "$0")
case $1 in
    check) [ -f "$last" ] || exit 2
        case " $* " in *" --beside "*) if grep -q SAME "$last"; then echo "$last:1:1: the pins of another"; exit 2; fi ;; esac
        if grep -q BAD "$last" || { grep -q OLD "$last" && [ "$(cat "$here/version")" != 1 ]; }; then
            echo "$last:1:1: it is bad; write it well"; exit 2
        fi
        echo "$(basename "$last" .yaml): valid." ;;
    status) cat "$ROOT/status.json"; [ ! -s "$ROOT/status.next" ] || mv "$ROOT/status.next" "$ROOT/status.json" ;;
    example) printf 'bed: invented\\nplan: []\\n' ;;
    completion) echo "completion of $2" ;;
    --version) cat "$here/version" ;;
esac
"""
PIP = """\
#!/bin/sh
for last; do true; done
echo "pip $*" >>"$ROOT/calls"
[ -z "${PIP_FAILS:-}" ] || exit 1
case " $* " in
    *" wheel "*) for folder; do case $folder in */wheel) mkdir -p "$folder"; cp "$ROOT/version" "$folder/waaler-$(cat "$ROOT/version")-any.whl" ;; esac; done ;;
    *" install "*) cp "$ROOT/version" "$(dirname "$0")/version" ;;
esac
"""
PYTHON = """\
#!/bin/sh
if [ "$1" = -m ] && [ "$2" = venv ]; then
    for folder; do true; done
    mkdir -p "$folder/bin"
    cp "$ROOT/tools/waaler" "$ROOT/tools/pip" "$folder/bin/"
    printf '#!/bin/sh\\ncase "$2" in *lgpio*) exit "${LGPIO_IS_EMPTY:-0}" ;; *apprise*) exit "${NO_PUSH:-1}" ;; esac\\nexec %s "$@"\\n' "$REAL" >"$folder/bin/python"
    chmod +x "$folder/bin/python"
    exit
fi
case "$2" in
    *gpiochip_open*) exit "${NO_SYSTEM_LGPIO:-1}" ;;
    *platform*) exit "${NO_WHEEL:-0}" ;;
    *ensurepip*) exit "${NO_VENV:-0}" ;;
    *version_info*) exit 0 ;;
esac
[ "$1" != --version ] || exec echo Python 3
exec "$REAL" "$@"
"""
SYSTEMCTL = """\
#!/bin/sh
case $1 in
    is-active) for last; do true; done; grep -qx "$last" "$ROOT/active" 2>/dev/null; exit ;;
    show) echo 0; exit ;;
    list-units) sed 's/$/.service loaded active running a bed/' "$ROOT/active" 2>/dev/null; exit ;;
esac
echo "systemctl $*" >>"$ROOT/calls"
case "$*" in "restart ${WILL_NOT_START:-nothing}") exit 1 ;; esac
for last; do true; done
case "$*" in
    restart*) echo "$last" >>"$ROOT/active"; mkdir -p "$ROOT/ran"; cat "$ROOT/opt/waaler/current/bin/version" >"$ROOT/ran/$last" ;;
    *disable\\ --now*) grep -vx "$last" "$ROOT/active" >"$ROOT/active.left"; mv "$ROOT/active.left" "$ROOT/active"; rm -f "$ROOT/ran/$last" ;;
esac
exit 0
"""
MORTAL = """\
#!/bin/sh
# does what it is called for, and then kills the installer if its turn has come
PATH=${PATH#*:}
count=$(($(cat "$ROOT/count" 2>/dev/null || echo 0) + 1))
"$(basename "$0")" "$@"
done=$?
echo "$count" >"$ROOT/count"
[ "$count" != "${KILLED_AFTER:-0}" ] || kill -9 "$(cat "$ROOT/pid")"
exit $done
"""
"""Stands before the real `mv`, `rm` and so on."""

NOTE = '#!/bin/sh\necho "$(basename "$0")" >>"$ROOT/calls"\n'
STEPS = ("mkdir", "mv", "rm", "ln", "install", "cp", "systemctl", "systemd-sysusers", "systemd-tmpfiles", "python3")
IDLE = '{"run": null, "next": {"start": "2026-06-21T09:00:00+01:00"}, "at": "2026-06-21T08:00:00+01:00"}'
RUNS = IDLE.replace("null", '{"id": 7}')
SOON = IDLE.replace("08:00:00", "08:57:10")


class Machine:
    """root: where everything is installed; is_new False: it is a copy of another's. version: to be installed next."""

    def __init__(self, root: Path, is_new: bool = True) -> None:
        self.root = root
        self._tools, self._mortal = root / "tools", root / "tools" / "mortal"
        if is_new:
            self._begin()

    def _begin(self) -> None:
        self._tools.mkdir()
        tools = {"waaler": WAALER, "pip": PIP, "python3": PYTHON, "systemctl": SYSTEMCTL}
        for name in ("systemd-sysusers", "systemd-tmpfiles", "sleep"):
            tools[name] = NOTE
        self._mortal.mkdir()
        for name in STEPS:
            (self._mortal / name).write_text(MORTAL)
            (self._mortal / name).chmod(0o755)
        for name, text in tools.items():
            (self._tools / name).write_text(text)
            (self._tools / name).chmod(0o755)
        self.version("1")
        self.status(IDLE)

    def version(self, name: str) -> None:
        (self.root / "version").write_text(name)

    def status(self, now: str, then: str = "") -> None:
        """What the daemon says, and what from the next question on."""
        (self.root / "status.json").write_text(now)
        (self.root / "status.next").write_text(then)

    def bed(self, bed: str, text: str = "good", is_active: bool = False) -> Path:
        path = self.root / "etc" / "waaler" / f"{bed}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        if is_active:
            self.runs(f"waaler@{bed}")
        return path

    def runs(self, unit: str) -> None:
        """From now on the service manager says that it is active."""
        with (self.root / "active").open("a") as file:
            file.write(f"{unit}\n")

    def install(self, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
        (self.root / "calls").write_text("")
        path = f"{self._tools}{os.pathsep}{os.environ['PATH']}"
        given = {"PATH": path, "ROOT": str(self.root), "REAL": sys.executable, "WAALER_TEST_MANAGER": "1"}
        if "KILLED_AFTER" in environment:
            given["PATH"] = f"{self._mortal}{os.pathsep}{path}"
            (self.root / "count").write_text("0")
        return subprocess.run(
            ["sh", "-c", 'echo $$ >"$ROOT/pid"; exec sh "$0" "$@"', str(INSTALL), "--root", str(self.root), *words],
            capture_output=True,
            text=True,
            timeout=60,
            env=given | environment,
        )

    @property
    def calls(self) -> list[str]:
        """What was asked of the service manager and the like, in order, pip left out."""
        lines = (self.root / "calls").read_text().splitlines()
        return [line for line in lines if not line.startswith("pip ")]

    @property
    def running(self) -> dict[str, str]:
        """The version that each unit was last started from."""
        folder = self.root / "ran"
        return {path.name: path.read_text() for path in folder.iterdir()} if folder.exists() else {}

    @property
    def pip_calls(self) -> list[str]:
        return [line for line in (self.root / "calls").read_text().splitlines() if line.startswith("pip ")]

    def linked(self, name: str) -> str | None:
        """The version that `current` or `previous` points to."""
        link = self.root / "opt" / "waaler" / name
        return (link / "bin" / "version").read_text() if link.exists() else None

    def venvs(self) -> int:
        folder = self.root / "opt" / "waaler"
        if not folder.exists():
            return 0
        return sum(path.is_dir() and not path.is_symlink() and path.name != "started" for path in folder.iterdir())

    def files(self) -> set[str]:
        """Everything below the root but the tools."""
        ours = {
            "tools",
            "calls",
            "version",
            "status.json",
            "status.next",
            "active",
            "active.left",
            "ran",
            "pid",
            "count",
        }
        return {
            str(path.relative_to(self.root))
            for path in self.root.rglob("*")
            if path.relative_to(self.root).parts[0] not in ours
        }
