"""The beds that the page shows: their files and their records."""

import time
from dataclasses import dataclass, replace
from pathlib import Path

from waaler.report.bed import Bed
from waaler.settings.followed import FollowedFile, accepted_file
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
        self.id = bed_id(file)
        self.records = records_file(self.id)
        self._followed = FollowedFile(file, accepted_file(self.records.parent, self.id), still_s=0.0)
        self._shown = self._made()

    def look(self) -> Shown:
        if self._followed.has_changed(time.monotonic()):
            self._shown = self._made()
        return self._shown

    def _made(self) -> Shown:
        bed = replace(Bed.of(self._followed.settings), id=self.id)
        return Shown(bed, self.records, self._followed.problem)
