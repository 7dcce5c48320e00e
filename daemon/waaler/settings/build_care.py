"""From the written file to what alerts know of the bed and its people."""

from dataclasses import replace
from pathlib import Path

from waaler.bed.figures import Figures
from waaler.bed.thirst import Drink
from waaler.bed.weather import Weather
from waaler.core.care import Care, Contact, Quiet
from waaler.plan.types import Plan
from waaler.settings.build_site import USUAL_MONTHS, site, weather
from waaler.settings.faults import SettingsError
from waaler.settings.models import BedFile

__all__ = ["care"]


def care(file: BedFile, figures: Figures, plan: Plan, folder: Path) -> Care:
    """folder: where a relative path of a weather table begins. A header tank keeps the sump full: no forecast."""
    section = file.care
    return Care(
        figures=figures,
        drink_l=None if file.top_up is not None else _drink(file, figures, folder),
        dip_l=figures.dip_l(max(window.seconds for window in plan.windows)),
        fresh_ec=file.feed.ec,
        contacts=tuple(Contact(contact.name, contact.call or "") for contact in file.contacts),
        quiet=_quiet(file),
        clean_after_s=section.clean_after,
        clean_after_starts=section.clean_after_starts,
        renew_after_days=section.renew_after / 86_400,
    )


def _drink(file: BedFile, figures: Figures, folder: Path) -> Drink:
    """By crops and weather, else the file's own figure."""
    place = site(file)
    try:
        return Drink(place, figures, weather(file, folder))
    except SettingsError:  # `check` tells of it; a missing table must not keep the daemon from its start
        return Drink(replace(place, crops=()), figures, Weather(USUAL_MONTHS))


def _quiet(file: BedFile) -> Quiet | None:
    if file.quiet_hours is None:
        return None
    begin, end = file.quiet_hours
    return Quiet(begin.minute, end.minute)
