"""The one door for files from outside: settings, tables, stories, cups, secrets, certificates.

Only regular files, no larger than their kind may be, in UTF-8 or in what their encoding mark says. A pipe, a device
or a folder is refused before it is opened: opening alone can hang for ever, or set something off.
"""

import os
import stat
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE, BOM_UTF32_BE, BOM_UTF32_LE
from errno import EFBIG, EINVAL
from pathlib import Path

from waaler.settings.faults import Fault, SettingsError

__all__ = ["MOST_SETTINGS_BYTES", "bytes_of", "refuse_odd", "text_of", "told"]

MOST_SETTINGS_BYTES = 256 * 1024
MARKS = (
    (BOM_UTF32_LE, "utf-32-le"),
    (BOM_UTF32_BE, "utf-32-be"),
    (BOM_UTF8, "utf-8"),
    (BOM_UTF16_LE, "utf-16-le"),
    (BOM_UTF16_BE, "utf-16-be"),
)
"""The longer before the shorter that it begins with. Source: Unicode Standard, section 23.8, byte order mark."""

KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


def refuse_odd(path: Path) -> None:
    """Raises OSError for a file that is missing or is none that can be read to its end."""
    _judge(path.stat().st_mode)


def bytes_of(path: Path, most: int = MOST_SETTINGS_BYTES) -> bytes:
    """All of a regular file. Raises OSError for any other, and for one of more than `most` bytes."""
    refuse_odd(path)
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
    with open(handle, "rb") as file:
        _judge(os.fstat(handle).st_mode)
        data = file.read(most + 1) or b""
    if len(data) > most:
        raise OSError(EFBIG, f"the file is larger than {_size(most)}")
    return data


def text_of(path: Path, most: int = MOST_SETTINGS_BYTES, remedy: str | None = None) -> str:
    """Its text, each line ended by a newline alone. Raises SettingsError with the place and a remedy."""
    try:
        data = bytes_of(path, most)
    except OSError as problem:
        raise SettingsError((_unread(path, problem, remedy),)) from None
    mark, encoding = next((known for known in MARKS if data.startswith(known[0])), (b"", "utf-8"))
    try:
        text = data[len(mark) :].decode(encoding)
    except UnicodeDecodeError as problem:
        before = problem.object[: problem.start].decode(encoding, "replace")
        line, column = before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
        what = f"this is not {encoding[:6].upper().rstrip('-')} text"
        raise SettingsError((Fault(str(path), line, column, what, "save the file as UTF-8 text"),)) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def told(problem: OSError) -> str:
    """What went wrong, without the file's name."""
    return problem.strerror or str(problem)


def _judge(mode: int) -> None:
    if not stat.S_ISREG(mode):
        kind = next((name for is_kind, name in KINDS if is_kind(mode)), "something else")
        raise OSError(EINVAL, f"this is {kind}, not a regular file")


def _unread(path: Path, problem: OSError, remedy: str | None) -> Fault:
    if problem.errno == EFBIG:
        return Fault(str(path), 1, 1, told(problem), remedy or "keep only settings in it")
    return Fault(
        str(path), 1, 1, f"cannot be read: {told(problem)}", remedy or "name a file that exists and may be read"
    )


def _size(count: int) -> str:
    return f"{count // 1024} kB" if count < 1024 * 1024 else f"{count // (1024 * 1024)} MB"
