"""Wakes the keeper at each cycle. It decides nothing: late, doubled or dead, it changes no watering."""

from collections.abc import Callable
from datetime import datetime

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

from waaler.plan.timetable import upcoming
from waaler.plan.types import Plan

__all__ = ["CycleTrigger", "CycleWaker"]


class CycleTrigger(BaseTrigger):  # type: ignore[misc]
    """Fires at the cycles of the pure timetable.

    A trigger that raises would end the scheduler's thread without a word, so it answers "no more" instead; the
    keeper looks once a minute anyway.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime | None:
        try:
            after = max(previous_fire_time, now) if previous_fire_time else now
            return next((cycle.start for cycle in upcoming(self._plan, after)), None)
        except Exception:
            return None


class CycleWaker:
    """wake: called at each cycle's start, from a thread of the scheduler."""

    def __init__(self, wake: Callable[[], object]) -> None:
        self._wake = wake
        self._scheduler = BackgroundScheduler(timezone="UTC")

    def start(self, plan: Plan) -> None:
        self._scheduler.start()
        self.follow(plan)

    def follow(self, plan: Plan) -> None:
        """Takes another plan, or the same again after the clock was stepped."""
        self._scheduler.add_job(
            self._wake,
            CycleTrigger(plan),
            id="cycles",
            replace_existing=True,
            misfire_grace_time=None,
            coalesce=True,
            max_instances=1,
        )

    def stop(self) -> None:
        self._scheduler.shutdown(wait=False)
