"""Files in one folder are beds of one machine: no two may be the same bed, or have the same pins."""

from collections.abc import Iterator
from pathlib import Path

from waaler.settings.faults import Fault, SettingsError
from waaler.settings.pinning import pin_name, uses
from waaler.settings.places import bed_id
from waaler.settings.settings import Settings, load

__all__ = ["clashes"]


def clashes(settings: Settings, file: Path) -> Iterator[Fault]:
    """What the other files of the folder of `file` have in common with it; those with faults say their id alone."""
    source = settings.source
    if file.stem != settings.id:
        what = f"the file is called {file.stem} and names the bed {settings.id}"
        yield source.fault(("bed",), what, f"call it {settings.id}.yaml, or keep a copy elsewhere")
    for other in sorted(file.parent.glob("*.yaml")):
        if other.name == file.name:
            continue
        if bed_id(other) == settings.id:
            yield source.fault(("bed",), f"{other} names this bed too", "keep copies of a file elsewhere")
        else:
            yield from _pins(settings, other)


def _pins(settings: Settings, other: Path) -> Iterator[Fault]:
    try:
        theirs = {use.gpio: use.name for use in uses(load(other).file)}
    except SettingsError:
        return
    for use in uses(settings.file):
        if use.gpio in theirs:
            what = f"{pin_name(use.gpio)} is the {theirs[use.gpio]} of {other} too"
            yield settings.source.fault(use.path, f"{use.name}: {what}", "give each bed pins of its own")
