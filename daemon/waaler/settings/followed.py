"""The settings that are in force for a bed, for whoever keeps it and for those who only read."""

from pathlib import Path

from waaler.settings.faults import SettingsError
from waaler.settings.settings import Settings, load, load_accepted
from waaler.settings.watch_file import STILL_S, FileWatch

__all__ = ["FollowedFile", "accepted_file", "in_force"]


def accepted_file(folder: Path, bed: str) -> Path:
    """Where the last accepted text of a bed is kept. folder: of its records."""
    return folder / f"{bed}.accepted.yaml"


def in_force(file: Path, accepted: Path, bed: str = "") -> tuple[Settings, str | None]:
    """The file's settings; or the last accepted ones, and why the file is not taken. bed: whose they must be.

    Raises SettingsError of the file itself where no accepted text can be taken either.
    """
    try:
        return _of(load(file), bed), None
    except SettingsError as problem:
        try:
            return _of(load_accepted(accepted, file), bed), str(problem)
        except SettingsError:
            raise problem from None


def _of(settings: Settings, bed: str) -> Settings:
    """Raises SettingsError for those of another bed: two daemons would keep it, each with half of its records."""
    if bed and settings.id != bed:
        what = f"this names the bed {settings.id}, and the instance that was started is {bed}"
        remedy = f"write `bed: {bed}`, or call the file {settings.id}.yaml and start that instance"
        raise SettingsError((settings.source.fault(("bed",), what, remedy),))
    return settings


class FollowedFile:
    """A bed's file that is read again when it changed. settings: in force; problem: why the file is not, else None.

    Raises SettingsError where there is nothing to begin with. still_s: as in FileWatch. bed: as in `in_force`.
    """

    def __init__(self, file: Path, accepted: Path, still_s: float = STILL_S, bed: str = "") -> None:
        self._file, self._accepted, self._bed = file, accepted, bed
        self._watch = FileWatch(file, still_s)
        self.settings, self.problem = in_force(file, accepted, bed)

    def has_changed(self, now_s: float) -> bool:
        """Whether it was read again just now; a bad file leaves what was in force."""
        if not self._watch.has_changed(now_s):
            return False
        try:
            self.settings, self.problem = in_force(self._file, self._accepted, self._bed)
        except SettingsError as problem:
            self.problem = str(problem)
        return True
