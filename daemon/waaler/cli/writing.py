"""Writes files all at once: a value into the grower's own, valid before and after, and what a person asks for."""

import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from waaler.cli.common import echo, refuse

if TYPE_CHECKING:
    from waaler.settings import Settings

__all__ = ["write_value", "written"]


@contextmanager
def written(out: Path) -> Iterator[Path]:
    """A new path beside `out` to write to; it takes the place of `out` once the block is left without an error.

    Raises OSError where `out` is anything but new or a regular file: root would replace a device by a file.
    """
    try:
        is_regular = stat.S_ISREG(out.stat().st_mode)
    except FileNotFoundError:
        is_regular = True
    if not is_regular:
        raise OSError("this is no regular file; name a new file")
    new = out.parent / f".{secrets.token_hex(8)}.new"
    os.close(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o666))
    try:
        yield new
        os.replace(new, out)
    finally:
        new.unlink(missing_ok=True)


def write_value(settings: "Settings", path: tuple[str | int, ...], value: Any) -> None:
    """Ends with 1 where the file cannot be written, or would not be valid; it is then as it was."""
    from waaler.settings import SettingsError, parse
    from waaler.settings.edit import with_value
    from waaler.settings.outside_file import text_of

    file = Path(settings.source.name)
    try:
        edited = with_value(text_of(file), path, value)
        parse(edited, str(file))
        _replace(file, edited)
    except KeyError:
        refuse(f"{file}: there is no {'.'.join(map(str, path[:-1]))} to write it in; paste it by hand")
    except (OSError, SettingsError) as problem:
        refuse(f"{file} was not changed: {problem}")
    echo(f"written to {file}; a daemon that runs takes it within seconds")


def _replace(file: Path, text: str) -> None:
    """Through a file beside it, so that nobody ever reads half of it; mode and owner stay."""
    real = file.resolve()
    old = real.stat()
    new = real.with_name(f".{real.name}.new")
    try:
        with open(new, "w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
            os.fchmod(out.fileno(), old.st_mode & 0o777)
            if (out_owner := os.fstat(out.fileno())).st_uid != old.st_uid or out_owner.st_gid != old.st_gid:
                os.fchown(out.fileno(), old.st_uid, old.st_gid)
        os.replace(new, real)
    finally:
        new.unlink(missing_ok=True)
