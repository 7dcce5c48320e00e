"""Writes a value into the grower's own file, which is valid before and after."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from waaler.cli.common import echo, refuse

if TYPE_CHECKING:
    from waaler.settings import Settings

__all__ = ["write_value"]


def write_value(settings: "Settings", path: tuple[str | int, ...], value: Any) -> None:
    """Ends with 1 where the file cannot be written, or would not be valid; it is then as it was."""
    from waaler.settings import SettingsError, parse
    from waaler.settings.edit import with_value
    from waaler.settings.outside_file import text_of
    from waaler.settings.replacing import replaced

    file = Path(settings.source.name)
    try:
        edited = with_value(text_of(file), path, value)
        parse(edited, str(file))
        with replaced(file.resolve(), is_theirs=True) as new:
            new.write_text(edited, encoding="utf-8")
    except KeyError:
        refuse(f"{file}: there is no {'.'.join(map(str, path[:-1]))} to write it in; paste it by hand")
    except (OSError, SettingsError) as problem:
        refuse(f"{file} was not changed: {problem}")
    echo(f"written to {file}; a daemon that runs takes it within seconds")
