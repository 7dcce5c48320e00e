"""From the written file to what alerts know of the bed and its people."""

from waaler.bed.figures import Figures
from waaler.bed.thirst import Drink
from waaler.bed.weather import Weather
from waaler.core.care import Care, Contact, Quiet
from waaler.plan.types import Plan
from waaler.settings.build_site import site
from waaler.settings.models import BedFile

__all__ = ["care"]


def care(file: BedFile, figures: Figures, plan: Plan, weather: Weather) -> Care:
    """A header tank keeps the sump full: no forecast."""
    section = file.care
    return Care(
        figures=figures,
        drink_l=None if file.top_up is not None else Drink(site(file), figures, weather),
        dip_l=figures.dip_l(max(window.seconds for window in plan.windows)),
        fresh_ec=file.feed.ec,
        contacts=tuple(Contact(contact.name, contact.call or "") for contact in file.contacts),
        quiet=_quiet(file),
        clean_after_s=section.clean_after,
        clean_after_starts=section.clean_after_starts,
        renew_after_days=section.renew_after / 86_400,
    )


def _quiet(file: BedFile) -> Quiet | None:
    if file.quiet_hours is None:
        return None
    begin, end = file.quiet_hours
    return Quiet(begin.minute, end.minute)
