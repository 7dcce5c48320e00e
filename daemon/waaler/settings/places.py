"""Where a bed's file, state and run-time files live."""

import os
import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from waaler.settings.faults import Fault, SettingsError
from waaler.settings.outside_file import bytes_of

__all__ = [
    "ETC",
    "EXAMPLE",
    "FolderError",
    "bed_id",
    "find",
    "records_file",
    "rehearsal_file",
    "runtime_folder",
    "socket_file",
    "state_folder",
]

ETC = Path("/etc/waaler")
ID_LINE = re.compile(r"^bed:\s*[\"']?([a-z][a-z0-9-]{0,30})\b", re.MULTILINE)
EXAMPLE = Path(__file__).parents[1] / "example.yaml"


class FolderError(OSError):
    """A folder for state or run-time files cannot be made; says which and what to do."""


def find(file: Path | None) -> Path:
    """The file named, else the only one in /etc/waaler, else the checkout's or the package's example.

    Raises SettingsError where several beds are kept and none was named.
    """
    if file is not None:
        return file
    kept = sorted(ETC.glob("*.yaml"))
    if len(kept) > 1:
        names = ", ".join(str(path) for path in kept)
        raise SettingsError((Fault(str(ETC), 1, 1, "several beds are kept here", f"name one of {names}"),))
    if kept:
        return kept[0]
    checkout = Path("config/bed.yaml")
    return checkout if checkout.is_file() else EXAMPLE


def bed_id(file: Path) -> str:
    """The id that a file names, whatever else is wrong with it; else its stem, as an id."""
    try:
        text = bytes_of(file).decode("utf-8-sig", "replace")
    except OSError:
        text = ""
    named = ID_LINE.search(text)
    return named[1] if named else re.sub(r"[^a-z0-9-]", "-", file.stem.lower())[:31]


def state_folder(bed: str) -> Path:
    """The bed's folder for what must last; made if it is missing. Raises FolderError."""
    return _folder(bed, "STATE_DIRECTORY", Path("/var/lib/waaler"), "XDG_STATE_HOME", Path.home() / ".local/state")


def records_file(bed: str) -> Path:
    """The bed's database for one who only reads: where it is found, else where the daemon would begin it."""
    own = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local/state") / "waaler" / bed
    given = os.environ.get("STATE_DIRECTORY")
    folders = [Path(given.split(":")[0])] if given else [Path("/var/lib/waaler") / bed, own]
    found = (folder / f"{bed}.db" for folder in folders)
    return next((path for path in found if _may_be_there(path)), folders[-1] / f"{bed}.db")


def socket_file(bed: str) -> Path:
    """The control socket of the bed's daemon for one who asks it: the system's where that bed has a folder.

    Unlike runtime_folder it asks for no leave to write there: whoever may enter the folder may give orders.
    """
    system = Path("/run/waaler") / bed
    if not os.environ.get("RUNTIME_DIRECTORY") and system.is_dir():
        return system / f"{bed}.sock"
    return runtime_folder(bed) / f"{bed}.sock"


def _may_be_there(path: Path) -> bool:
    """Whether a file exists, or stands in a folder that this user may not enter."""
    try:
        return path.exists()
    except PermissionError:
        return True


def rehearsal_file(bed: str) -> Path:
    """The records of the last rehearsal; no bed's are called so, since ids have no dots. Raises FolderError."""
    return state_folder(bed) / f"{bed}.rehearsal.db"


def runtime_folder(bed: str) -> Path:
    """The bed's folder for socket, lock and off file; made if it is missing. Raises FolderError."""
    shared = Path(f"/tmp/waaler-{os.getuid()}")
    return _folder(bed, "RUNTIME_DIRECTORY", Path("/run/waaler"), "XDG_RUNTIME_DIR", shared, is_shared=True)


def _folder(bed: str, given: str, system: Path, xdg: str, home: Path, is_shared: bool = False) -> Path:
    """The service manager's folder, else the system's where it exists, else the user's.

    is_shared: `home` stands where everybody may make folders, and somebody may have made it first.
    """
    if os.environ.get(given):
        folder = Path(os.environ[given].split(":")[0])
    elif (system / bed).is_dir() and os.access(system / bed, os.W_OK):
        folder = system / bed
    else:
        set_by_user = os.environ.get(xdg)
        return _own_folder(Path(set_by_user) if set_by_user else home, bed, given, is_shared and not set_by_user)
    with _refusing(folder, given):
        folder.mkdir(parents=True, exist_ok=True, mode=0o750)
    return folder


def _own_folder(base: Path, bed: str, given: str, is_shared: bool) -> Path:
    """Below `base`, every part of it this user's; where all may make folders, `base` itself too."""
    folder = base / "waaler" / bed
    parts = [base, base / "waaler", folder]
    with _refusing(folder, given):
        base.parent.mkdir(parents=True, exist_ok=True)
        for part in parts:
            part.mkdir(mode=0o750, exist_ok=True)
        for part in parts if is_shared else parts[1:]:
            _refuse_strange(part, given, may_be_link=not is_shared)
    return folder


@contextmanager
def _refusing(folder: Path, given: str) -> Iterator[None]:
    try:
        yield
    except FolderError:
        raise
    except OSError as problem:
        why = problem.strerror or str(problem)
        raise FolderError(f"{folder} cannot be made: {why}; set {given} to a folder of yours") from None


def _refuse_strange(folder: Path, given: str, may_be_link: bool) -> None:
    """A stranger's folder could hold a socket that answers in the daemon's place, or links that we would follow."""
    found = folder.stat() if may_be_link else folder.lstat()
    if not stat.S_ISDIR(found.st_mode):
        why = "is no folder"
    elif found.st_uid != os.getuid():
        why = f"belongs to another user (number {found.st_uid})"
    elif found.st_mode & (stat.S_IWOTH if may_be_link else stat.S_IWOTH | stat.S_IWGRP):
        why = "may be changed by others"
    else:
        return
    raise FolderError(f"{folder} {why}; remove it, or set {given} to a folder of yours")
