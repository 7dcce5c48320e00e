"""Takes an edited file: only if it is valid, what can change live at once, and says what became of each change."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from waaler.bed.wiring import Wiring
from waaler.core.alert import AlertKind, Severity
from waaler.core.messages import Message, NewPlan, Notice
from waaler.core.texts import loose
from waaler.plan.sensing import Adviser, Sensing
from waaler.settings import Settings, SettingsError, load
from waaler.settings.build import TRAY_WET
from waaler.settings.crossing import SUMP_FLOATS
from waaler.settings.differences import Change, differences
from waaler.settings.taken import TAKEN, Taken

__all__ = ["PLAN_REJECTED", "RESTART", "Reloader", "pins_wait", "rejected", "tells"]

PLAN_REJECTED = AlertKind.PLAN_REJECTED
RESTART = AlertKind.RESTART_NEEDED
ALL_THE_SAME = "the file says the same in other words"
LATER = "at the daemon's next start"
MOST_NAMED = 6


def tells(settings: Settings) -> bool:
    """Whether the notifier has anything to do for this bed."""
    return settings.mqtt is not None or settings.messages.is_anything


class Reloader:
    """The bed's file under a running daemon. present: the settings in force, which other threads may read.

    begun: what the daemon opened its pins and sensors by. are_pins_others: whether the guard holds other pins than
    these. has_unit: whether the notifier is a unit of its own, which ends where it has nothing to do. has_notifier:
    whether it runs now.
    """

    def __init__(
        self,
        file: Path,
        begun: Settings,
        are_pins_others: bool = False,
        has_unit: bool = True,
        has_notifier: Callable[[], bool] = lambda: False,
    ) -> None:
        self.present = begun
        self._has_notifier, self._must_start = has_notifier, False
        self._file, self._begun = file, begun
        self._are_pins_others, self._has_unit = are_pins_others, has_unit
        self._was_waived = _is_waived(begun)

    def take(self) -> list[Message]:
        """What to tell the decisions. A file that cannot be read or is not valid changes nothing but an alert."""
        try:
            new = load(self._file)
        except Exception as problem:  # whatever it is: a file that cannot be loaded is one that is not taken
            return [rejected(_one_line(problem), "The edited file is not taken.", "The plan before it")]
        changes = differences(self.present, new)
        self.present = new
        self._was_waived |= _is_waived(new)
        lines = tuple(self._line(change) for change in changes) or (ALL_THE_SAME,)
        plan = NewPlan(
            new.plan,
            _as_opened(new, self._begun),
            new.limits,
            lines,
            new.thirst,
            _is_waived(new),
            new.care,
        )
        return [Notice(PLAN_REJECTED), plan, self._waiting()]

    def look(self) -> list[Message]:
        """What to tell the decisions now that the notifier was started, or has ended again."""
        return [] if self._needs_notifier() is self._must_start else [self._waiting()]

    def _needs_notifier(self) -> bool:
        """Whether a person must start it: a bed that told nobody names somebody now."""
        is_first = tells(self.present) and not tells(self._begun)
        return self._has_unit and is_first and not self._has_notifier()

    def _line(self, change: Change) -> str:
        return f"{change} ({LATER})" if self._waits(change) else str(change)

    def _waits(self, change: Change) -> bool:
        if change.keys == ("not_commissioned",):
            return self._was_waived and not _is_waived(self.present)
        return any(TAKEN[key] is Taken.DAEMON for key in change.keys)

    def _waiting(self) -> Notice:
        """What of the file in force is not in force yet, and what to restart for it; resolved where all is."""
        names = [change.path for change in differences(self._begun, self.present) if self._waits(change)]
        if self._was_waived and not _is_waived(self.present) and "not_commissioned" not in names:
            names.append("not_commissioned")
        if self._are_pins_others:
            names.append("pins")
        remedies = []
        if names:
            remedies.append(f"Restart the daemon when it suits: `systemctl restart waaler@{self._begun.id}`.")
        if "bed" in names:
            remedies = [_other_bed(self._begun.id, self.present.id)]
        self._must_start = self._needs_notifier()
        if self._must_start:
            names.append("messages")
            remedies.append(f"Start the notifier: `systemctl start waaler-notify@{self._begun.id}`.")
        return _waits_for(names, remedies) if names else Notice(RESTART)


def _as_opened(new: Settings, begun: Settings) -> Sensing:
    """The sensing of a new file, for the devices that are open: another channel or calibration waits for a restart.

    A sensor that the file has only now is not heard before it is opened. One whose device is another is judged as
    the open device measures.
    """
    known = {adviser.name: adviser for adviser in begun.sensing.advisers}
    open_, wanted = _devices(begun.wiring), _devices(new.wiring)
    advisers = tuple(
        adviser if open_.get(adviser.name) == wanted.get(adviser.name) else _measured(adviser, known[adviser.name])
        for adviser in new.sensing.advisers
        if adviser.name in known
    )
    return replace(new.sensing, advisers=advisers)


def _devices(wiring: Wiring) -> dict[str, object]:
    analog = (*wiring.probes, *wiring.lights, *wiring.levels, *wiring.currents)
    return {
        **{one.name: one for one in analog},
        **{one.name: one for one in wiring.thermometers},
        SUMP_FLOATS: wiring.sump_floats,
        TRAY_WET: wiring.tray_wet,
    }


def _measured(new: Adviser, open_: Adviser) -> Adviser:
    if new.kind is not open_.kind:
        return open_
    return replace(new, is_calibrated=open_.is_calibrated, lowest=open_.lowest, highest=open_.highest)


def rejected(problem: str, what: str, before: str) -> Notice:
    """The file is not the one in force. before: what is."""
    words = loose(
        what,
        f"{before} stays in force.",
        f"Correct it: {problem}",
        "A valid file is taken by itself.",
    )
    return Notice(PLAN_REJECTED, Severity.SOON, words)


def pins_wait(bed: str) -> Notice:
    """The file's pins are others than those that the guard has open."""
    return _waits_for(["pins"], [f"Restart the daemon when it suits: `systemctl restart waaler@{bed}`."])


def _waits_for(names: Sequence[str], remedies: Sequence[str]) -> Notice:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    words = loose(
        f"Not in force yet: {', '.join(names[:MOST_NAMED])}{more}.",
        "Everything else of the file is in force.",
        " ".join(remedies),
        "Ends with that.",
    )
    return Notice(RESTART, Severity.NOTE, words)


def _other_bed(old: str, new: str) -> str:
    return (
        f"Another id is another bed: write `bed: {old}` again, or call the file {new}.yaml and start its own units,"
        f" `systemctl start waaler@{new} waaler-notify@{new}`, then `systemctl restart waaler-page`."
    )


def _is_waived(settings: Settings) -> bool:
    return settings.file.not_commissioned is not None


def _one_line(problem: Exception) -> str:
    if isinstance(problem, SettingsError):
        return str(problem).splitlines()[0]
    return f"it cannot be reckoned with ({type(problem).__name__}: {problem})"
