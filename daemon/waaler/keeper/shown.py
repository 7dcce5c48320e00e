"""What the daemon shows of the bed: its status, the light at the bed, and the present in the records."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from waaler.core.alert import Severity
from waaler.core.facts import Fact
from waaler.core.status import Present, as_json
from waaler.devices.clock import Clock, long_s
from waaler.guard.messages import Instant
from waaler.guard.state import State as GuardState
from waaler.keeper.control import Reply
from waaler.keeper.keeper import Keeper
from waaler.keeper.panel import View
from waaler.keeper.status import local, noted, one_line, status
from waaler.plan.timetable import upcoming
from waaler.settings import Settings

__all__ = ["Shown"]

NOT_COMMISSIONED = "not commissioned, which the file accepts: nobody need have seen the floats in both states"


class Shown:
    """bed: its id, which never changes live. settings: those in force. guard: its state, as it was told last.

    record: takes what is to be written down. changed: hears of what a status shows and no fact tells of.
    """

    def __init__(
        self,
        bed: str,
        keeper: Keeper,
        clock: Clock,
        settings: Callable[[], Settings],
        guard: Callable[[], GuardState],
        record: Callable[[Fact], object],
        changed: Callable[[], object],
    ) -> None:
        self.present: Present | None = None
        self._bed, self._keeper, self._clock = bed, keeper, clock
        self._settings, self._guard, self._record, self._changed = settings, guard, record, changed
        self._levels: tuple[object, ...] = ()

    def look(self, at: Instant) -> str:
        """Writes down whatever is other than before; what the bed does, in one line."""
        fact = noted(self.present, self._keeper.state, self._guard(), at)
        if fact is not None:
            self.present = fact.present
            self._record(fact)
        self._look_at_levels()
        assert self.present is not None, "the first present is always noted"
        return one_line(self.present, local(at.wall_s, self._settings().plan.place.timezone))

    def _look_at_levels(self) -> None:
        guard = self._guard()
        levels = (guard.is_read_back_on, *(watch.level for _, watch in guard.watches))
        if levels != self._levels:
            self._levels = levels
            self._changed()

    def status(self) -> Reply:
        """As the control socket answers."""
        keeper, settings = self._keeper, self._settings()
        told = status(keeper.state, self._guard(), keeper.alerts, self._clock.now(), keeper.beat_s, self.present)
        is_proven = settings.file.not_commissioned is None
        warnings = told.warnings if is_proven else (*told.warnings, NOT_COMMISSIONED)
        return {"ok": True, **as_json(replace(told, bed=self._bed, title=settings.title, warnings=warnings))}

    def panel(self) -> View:
        """For light and buzzer."""
        keeper, guard = self._keeper, self._guard()
        urgent = (kind for kind, alert in keeper.alerts.items() if alert.severity == Severity.URGENT)
        return View(
            is_running=guard.run is not None,
            is_stopped=bool(guard.locks) or any(watch.trip for _, watch in guard.watches),
            is_announced=keeper.state.announcing.announced_until_s > long_s(),
            urgent=frozenset(urgent),
        )

    def planned_s(self) -> float | None:
        """What the plan's next cycle has, for the button; None without one."""
        now = datetime.fromtimestamp(self._clock.now().wall_s, UTC)
        return next((cycle.seconds for cycle in upcoming(self._settings().plan, now)), None)
