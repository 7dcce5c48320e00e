"""The keys of the file that name other files: where a relative path begins, and what such a file may be."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from waaler.settings.faults import Fault
from waaler.settings.models import BedFile
from waaler.settings.outside_file import refuse_odd, told
from waaler.settings.text import Path as Key
from waaler.settings.text import Source

__all__ = ["SecretFile", "odd_files"]

IN_SECTIONS = (
    ("mqtt", ("password_file", "ca_file", "certificate_file", "key_file")),
    ("mail", ("password_file", "ca_file")),
    ("push", ("urls_file",)),
    ("heartbeat", ("url_file",)),
)


@dataclass(frozen=True, slots=True)
class SecretFile:
    """credential: the name under which the service manager may hand it over instead. path None: it must."""

    path: Path | None
    credential: str | None = None

    @classmethod
    def beside(cls, folder: Path, text: str | None) -> "SecretFile | None":
        """Of what the file says; a name without a folder may be a credential's."""
        return None if text is None else cls(folder / text, None if "/" in text else text)


def odd_files(file: BedFile, source: Source, folder: Path) -> Iterator[Fault]:
    """Files that are there and are none to be read: pipes, devices, folders. Who may not look says nothing."""
    for key, text in _named(file):
        try:
            refuse_odd(folder / text)
        except (FileNotFoundError, PermissionError, NotADirectoryError):
            continue
        except (OSError, ValueError) as problem:
            what = told(problem) if isinstance(problem, OSError) else str(problem)
            name = ".".join(str(part) for part in key if isinstance(part, str))
            yield source.fault(key, f"{name}: {folder / text}: {what}", "name a regular file")


def _named(file: BedFile) -> Iterator[tuple[Key, str]]:
    """Each path that the file holds, the weather table left out: that one is read at once."""
    for section, names in IN_SECTIONS:
        written = getattr(file, section)
        for name in names if written is not None else ():
            yield from _given((section, name), getattr(written, name))
    for n, hook in enumerate(file.webhooks):
        yield from _given(("webhooks", n, "url_file"), hook.url_file)
    yield from _given(("metrics_file",), file.metrics_file)


def _given(key: Key, text: str | None) -> Iterator[tuple[Key, str]]:
    if text is not None:
        yield key, text
