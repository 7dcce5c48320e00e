"""From the written file to what alerts know of the bed and its people, and to the sump's ledger."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from waaler.bed.figures import Figures
from waaler.bed.ledger import SumpBook, Tank
from waaler.bed.thirst import Drinks
from waaler.bed.weather import Weather
from waaler.core.care import Care, Contact, Quiet
from waaler.plan.timetable import cycles_of_day
from waaler.plan.types import Plan
from waaler.settings.build_site import site
from waaler.settings.models import BedFile

__all__ = ["book", "care"]


def care(file: BedFile, book: SumpBook) -> Care:
    section = file.care
    return Care(
        book=book,
        contacts=tuple(Contact(contact.name, contact.call or "") for contact in file.contacts),
        quiet=_quiet(file),
        clean_after_s=section.clean_after,
        clean_after_starts=section.clean_after_starts,
        renew_after_days=section.renew_after / 86_400,
    )


def book(file: BedFile, figures: Figures, plan: Plan, weather: Weather) -> SumpBook:
    """What the sump's ledger reckons by."""
    feed, top_up = file.feed, file.top_up
    where = site(file)
    return SumpBook(
        figures=figures,
        drinks_l=Drinks(where, figures, weather),
        tank=None if top_up is None else Tank(top_up.tank, feed.ec if top_up.holds == "solution" else feed.water),
        fresh_ec=feed.ec,
        water_ec=feed.water,
        uptake_share=where.uptake_share,
        runs=_PlanRuns(plan),
        longest_run_s=max(window.seconds for window in plan.windows),
    )


@dataclass(frozen=True)
class _PlanRuns:
    """The plan's cycles between two local moments, fallbacks of on-demand windows included."""

    plan: Plan

    def __call__(self, since: datetime, until: datetime) -> Iterator[tuple[datetime, float]]:
        days = (until.date() - since.date()).days
        for n in range(-1, days + 2):
            for cycle in cycles_of_day(self.plan, since.date() + timedelta(days=n)):
                start = cycle.start.astimezone(since.tzinfo)
                if since < start <= until:
                    yield start, cycle.seconds


def _quiet(file: BedFile) -> Quiet | None:
    if file.quiet_hours is None:
        return None
    begin, end = file.quiet_hours
    return Quiet(begin.minute, end.minute)
