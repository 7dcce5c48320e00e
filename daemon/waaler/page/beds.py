"""The beds that the page shows: their files and their records."""

from dataclasses import dataclass
from pathlib import Path

from waaler.report.bed import Bed
from waaler.settings import Settings, SettingsError, load, load_accepted
from waaler.settings.places import bed_id, records_file

__all__ = ["Shown", "Watch"]


@dataclass(frozen=True, slots=True)
class Shown:
    """A bed as it is shown now. problem: why its file is not what is shown, None if it is."""

    bed: Bed
    records: Path
    problem: str | None = None


class Watch:
    """One bed's file, read again when it changes; a bad one leaves the last accepted text on the page.

    Raises SettingsError where there is none to fall back on.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self.id = bed_id(file)
        self._records = records_file(self.id)
        self._stamp = _stamp(file)
        self._shown = self._read()

    @property
    def records(self) -> Path:
        return self._records

    def look(self) -> Shown:
        stamp = _stamp(self._file)
        if stamp != self._stamp:
            self._stamp = stamp
            try:
                self._shown = self._read()
            except SettingsError as problem:
                self._shown = Shown(self._shown.bed, self._records, str(problem))
        return self._shown

    def _read(self) -> Shown:
        try:
            return self._make(load(self._file), None)
        except SettingsError as problem:
            accepted = self._records.with_name(f"{self.id}.accepted.yaml")
            try:
                return self._make(load_accepted(accepted, self._file), str(problem))
            except SettingsError:
                raise problem from None

    def _make(self, settings: Settings, problem: str | None) -> Shown:
        bed = Bed(self.id, settings.title, settings.plan, settings.sensing, settings.figures, settings.book)
        return Shown(bed, self._records, problem)


def _stamp(file: Path) -> tuple[int, int] | None:
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size
