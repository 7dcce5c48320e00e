"""Completion in a real shell on a terminal: a file's name is a name, whatever it looks like."""

import os
import pty
import select
import shlex
import shutil
import signal
import time
from pathlib import Path

import pytest

from waaler.cli.completion import script

BEGIN = {
    "bash": (
        ["bash", "--norc", "--noprofile", "-i"],
        "source {0}/c",
        "waaler() {{ printf '%s\\0' \"$@\" > {0}/new; mv {0}/new {0}/got; }}",
    ),
    "zsh": (
        ["zsh", "-f", "-i"],
        "fpath=({0} $fpath); autoload -Uz compinit; compinit -u -D",
        "waaler() {{ printf '%s\\0' \"$@\" > {0}/new; mv {0}/new {0}/got; }}",
    ),
    "fish": (
        ["fish", "--no-config", "-i"],
        "source {0}/c",
        "function waaler; printf '%s\\0' $argv > {0}/new; mv {0}/new {0}/got; end",
    ),
}
HOSTILE = {
    "substitution": "x$(touch PWNED).yaml",
    "without a space": "x$(touch${IFS}PWNED).yaml",
    "backquotes": "x`touch PWNED`.yaml",
    "commands": "x;touch PWNED;.yaml",
    "pipe": "x|touch PWNED|.yaml",
    "quotes": "x'\"$(touch PWNED)\"'.yaml",
    "assignment": "x${y:=$(touch PWNED)}.yaml",
    "brackets": "x(touch PWNED).yaml",
    "glob": "x*[a-z]?{1,2}.yaml",
    "words": "x  two  words.yaml",
    "escape": "x\x1b]0;PWNED\x07.yaml",
}
SHELLS = [
    pytest.param(name, marks=pytest.mark.skipif(not shutil.which(name), reason=f"no {name}")) for name in BEGIN
]
WAIT_S = 20.0


def typed(shell: str, home: Path, folder: Path, keys: str, until: Path) -> None:
    """Types into the shell on a terminal of its own, until the file is there."""
    command, *first = BEGIN[shell]
    (home / ("_waaler" if shell == "zsh" else "c")).write_text(
        script(shell).replace("/etc/waaler", str(home / "etc"))
    )
    child, terminal = pty.fork()
    if child == 0:
        os.chdir(folder)
        os.execvpe(command[0], command, {"HOME": str(home), "PATH": "/usr/bin:/bin", "TERM": "dumb"})
    try:
        ready = home / "ready"
        lines = [line.format(shlex.quote(str(home))) for line in first]
        _feed(terminal, "\n".join([*lines, f"touch {shlex.quote(str(ready))}\n"]), ready)
        _feed(terminal, keys, until)
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(terminal)


def _feed(terminal: int, keys: str, until: Path) -> None:
    os.write(terminal, keys.encode())
    shown, end_s = b"", time.monotonic() + WAIT_S
    while not until.exists() and time.monotonic() < end_s:
        if select.select([terminal], [], [], 0.05)[0]:
            shown += os.read(terminal, 65536)
    assert until.exists(), shown


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_a_name_that_looks_like_a_command_is_completed_and_never_run(shell: str, name: str, tmp_path: Path) -> None:
    here = tmp_path / "here"
    here.mkdir()
    (here / name).write_text("bed: terrace\n")

    typed(shell, tmp_path, here, "waaler check x\t\n", tmp_path / "got")

    assert (tmp_path / "got").read_bytes().decode().split("\0") == ["check", name, ""]
    assert [path.name for path in here.iterdir()] == [name]


@pytest.mark.parametrize("shell", SHELLS)
def test_a_list_of_hostile_names_runs_none_of_them(shell: str, tmp_path: Path) -> None:
    """Both folders that are looked through, and a name of two lines."""
    here, etc = tmp_path / "here", tmp_path / "etc"
    names = [
        *HOSTILE.values(),
        "x\n$(touch PWNED)\n.yaml",
        "xy${y:=$(touch PWNED)}\n.yaml",
        "$(touch PWNED).yaml",
        "-x$(touch PWNED).yaml",
    ]
    for folder in (here, etc):
        folder.mkdir()
        for name in names:
            (folder / name).write_text("bed: terrace\n")

    typed(
        shell,
        tmp_path,
        here,
        f"waaler check \t\t\x15waaler check {etc}/\t\t\x15waaler check end\n",
        tmp_path / "got",
    )

    assert sorted(path.name for path in here.iterdir()) == sorted(names)
    assert sorted(path.name for path in etc.iterdir()) == sorted(names)
