"""The unit's main process: python -m waaler.guard_process BED RUNTIME STATE [options] -- KEEPER...

Options: --simulated, --relay-trace FD. What follows `--` starts the keeper.
"""

import fcntl
import os
import select
import sys
from pathlib import Path

from waaler.devices.clock import Clock, boot_id
from waaler.guard import journal
from waaler.guard.journal import Found, Health
from waaler.guard_process.journal_file import read_journal
from waaler.guard_process.keeper_child import KeeperChild
from waaler.guard_process.lines import PiLines, SimulatedLines
from waaler.guard_process.loop import Bed, Guard, Refusal

__all__ = ["main"]


def main(words: list[str]) -> int:
    """0 after an order to end; else what the unit should restart from, and why in one line."""
    split = words.index("--")
    bed, runtime, state, *options = words[:split]
    folder = Path(runtime)
    try:
        os.chdir(folder)  # lgpio keeps a file of its own where it is loaded
        handles = [_hold_lock(folder / f"{bed}.lock", bed), *_hold_records(Path(state) / f"{bed}.lock", bed)]
        guard = Guard(_bed(bed, folder, Path(state), options), KeeperChild(words[split + 1 :]), Clock(False))
        status = guard.run()
    except Refusal as refusal:
        _say(str(refusal))
        return refusal.status
    except Exception as problem:
        _say(f"the guard ended: {type(problem).__name__}: {problem}")
        return 1
    for handle in handles:
        os.close(handle)
    return status


def _bed(bed: str, runtime: Path, state: Path, options: list[str]) -> Bed:
    path = state / f"{bed}.guard"
    data = read_journal(path)
    found = Found(Health.UNREADABLE) if data is None else journal.read(data, bed)
    socket = runtime / f"{bed}.guard.sock"
    if "--simulated" in options:
        trace = int(options[options.index("--relay-trace") + 1]) if "--relay-trace" in options else None
        return Bed(bed, boot_id(), path, socket, found, SimulatedLines(trace))
    off_file = runtime / f"{bed}.off"
    _switch_off_first(off_file)
    return Bed(bed, boot_id(), path, socket, found, PiLines(off_file))


def _switch_off_first(off_file: Path) -> None:
    """Whatever the last guard left on goes off before anything is read, by the lines that it wrote down."""
    if not off_file.exists():
        return
    from waaler.off import switch_off

    try:
        _, problems = switch_off(str(off_file))
    except (OSError, ValueError, KeyError, TypeError, ImportError) as error:
        problems = [repr(error)]
    for problem in problems:
        _say(f"not switched off at the start: {problem}")


def _hold_records(path: Path, bed: str) -> list[int]:
    """No two daemons write the same records. A disk that takes no file keeps nobody from starting."""
    try:
        return [_hold_lock(path, bed)]
    except OSError:
        return []


def _hold_lock(path: Path, bed: str) -> int:
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        raise Refusal(f"another daemon keeps {bed} ({path} is held)") from None
    return handle


def _say(text: str) -> None:
    """A last word, if whoever reads the error stream takes it at once."""
    if not text:
        return
    _, writable, _ = select.select([], [2], [], 0.0)
    if writable:
        os.write(2, f"waaler: {text}\n"[:500].encode())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
