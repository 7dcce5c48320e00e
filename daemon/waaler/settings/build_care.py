"""From the written file to what alerts know of the bed and its people."""

from collections.abc import Callable
from datetime import date
from functools import lru_cache
from pathlib import Path

from waaler.bed.budget import drink_l
from waaler.bed.evaporation import reference_mm
from waaler.bed.figures import Figures
from waaler.core.care import Care, Contact, Quiet
from waaler.settings.build_site import site, weather
from waaler.settings.faults import SettingsError
from waaler.settings.models import BedFile

__all__ = ["care"]


def care(file: BedFile, figures: Figures, folder: Path) -> Care:
    """folder: where a relative path of a weather table begins. A header tank keeps the sump full: no forecast."""
    section = file.care
    return Care(
        figures=figures,
        drink_l=None if file.top_up is not None else _drink_l(file, figures, folder),
        fresh_ec=file.feed.ec,
        contacts=tuple(Contact(contact.name, contact.call or "") for contact in file.contacts),
        quiet=_quiet(file),
        clean_after_s=section.clean_after,
        clean_after_starts=section.clean_after_starts,
        renew_after_days=section.renew_after / 86_400,
    )


def _drink_l(file: BedFile, figures: Figures, folder: Path) -> Callable[[date], float]:
    """What all plants take on a day: by crops and weather, else the file's own figure."""
    place = site(file)
    try:
        weather_on = weather(file, folder).on
    except SettingsError:  # `check` tells of it; a missing table must not keep the daemon from its start
        return lambda _: figures.pots * figures.drink_l_per_pot_day

    @lru_cache(maxsize=800)
    def on(day: date) -> float:
        reference = reference_mm(weather_on(day), place.latitude_deg, place.elevation_m, day.timetuple().tm_yday)
        return drink_l(place, figures, day, reference.mm)

    return on


def _quiet(file: BedFile) -> Quiet | None:
    if file.quiet_hours is None:
        return None
    begin, end = file.quiet_hours
    return Quiet(begin.minute, end.minute)
