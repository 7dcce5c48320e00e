"""How long the water lasts."""

import sys
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import Day, echo, echo_json, file_argument, json_option, read_settings, refuse, three_digits
from waaler.guard.memory import DAY_S

if TYPE_CHECKING:
    from waaler.bed.budget import Advice, Budget
    from waaler.bed.demand import Site
    from waaler.rehearsal.advising import Suggested
    from waaler.rehearsal.scene import Findings
    from waaler.settings import Settings

__all__ = ["command"]

LEAST_DRY_L = 0.1
SHOWN_DAYS = 14
SVG = "http://www.w3.org/2000/svg"
PLOT_WIDTH, PLOT_HEIGHT = 860, 170


@click.command("budget")
@click.option("--days", type=click.IntRange(1, 366), default=30, show_default=True, help="How many days.")
@click.option("--from", "first", type=Day(), help="First day; today if left out.")
@click.option("--plot", type=click.Path(path_type=Path), help="Draw the sump's level into this SVG file.")
@json_option
@file_argument
def command(days: int, first: datetime | None, plot: Path | None, as_json: bool, file: Path | None) -> None:
    """Tell what the plants drink, what the plan gives, and how many days the sump lasts.

    Begins with a full sump of fresh solution. On days as hot as any of these the plan as it is, and the one that
    is suggested, are rehearsed. Exit 1 if the sump reads low before `away_days` are over, a pot gets less than its
    plants drink, or plants wilt.

    Example: waaler budget --from 2026-07-01 --days 30
    """
    from waaler.bed.budget import advice
    from waaler.rehearsal.advising import design, suggested
    from waaler.rehearsal.play import Play
    from waaler.settings.build_site import site
    from waaler.settings.reckoning import budget_of

    settings = read_settings(file)
    where = site(settings.file)
    begin = date.today() if first is None else first.date()
    found = budget_of(settings, begin, days)
    told = advice(found, settings.figures)
    scene = design(settings, found)
    written, tried = Play(scene).run(), suggested(settings, scene, found, told)
    problems = _problems(settings, found, written)
    if plot is not None:
        _draw(plot, settings, found)
    if as_json:
        echo_json(_as_object(settings, found, told, written, tried, problems))
    else:
        for line in _as_lines(settings, where, found, told, written, tried, problems):
            echo(line)
    sys.exit(1 if problems else 0)


def _problems(settings: "Settings", found: "Budget", written: "Findings") -> list[str]:
    from waaler.bed.pots import named
    from waaler.rehearsal.advising import unhelped

    problems = []
    away = settings.file.away_days
    due = found.needs_water_on
    if due is not None and (due - found.days[0].day).days < away:
        problems.append(f"a run would be cut by a low sump on {due:%a %d %b}, before {away} days are over")
    thirsty = [row for row in found.days if row.short]
    dry = [row for row in found.days if row.dry_l > LEAST_DRY_L]
    if dry:
        problems.append(f"on {len(dry)} days the sump is empty and the plants go dry: it is too small")
    pots = settings.figures.pots
    if thirsty:
        who = named(pots, {n for row in thirsty for n in row.short})
        problems.append(f"on {len(thirsty)} days the plan gives {who} less than the plants there drink")
    still = [n for n, pot in enumerate(pots) if pot.flow_l_per_min <= 0]
    if still:
        problems.append(f"the outlets of {named(pots, still)} give nothing: see `waaler size`")
    wilting = unhelped(written.pots_wilted_h, written)
    if wilting:
        hours = three_digits(max(written.pots_wilted_h[n] for n in wilting))
        problems.append(f"on three such days the plan as written lets {named(pots, wilting)} wilt for {hours} h")
    return problems


def _as_lines(
    settings: "Settings",
    where: "Site",
    found: "Budget",
    told: "Advice",
    written: "Findings",
    tried: "Suggested | None",
    problems: list[str],
) -> list[str]:
    from waaler.bed.pots import named
    from waaler.cli.rehearsed import seasons_over

    hot, pots, first = found.hottest, settings.figures.pots, told.pot
    due = "not within these days" if found.needs_water_on is None else f"{found.needs_water_on:%a %d %b %Y}"
    every = "" if told.refill_every_days is None else f", about every {told.refill_every_days} days"
    lines = [
        f"{settings.title} ({settings.id}): {len(found.days)} days from {found.days[0].day:%a %d %b %Y}",
        "",
        f"  drink     {three_digits(hot.drink_l)} L on the day of most; the plan gives"
        f" {three_digits(hot.given_l)} L",
        f"  first     {named(pots, [first])} is dry first: it drinks up to"
        f" {three_digits(found.most_l[first])} L a day,",
        f"            and lasts {three_digits(told.safe_gap_h)} h around midday",
        *_suggested(written, told, tried),
        f"  refill by {due}; {three_digits(told.refill_l)} L{every}",
        f"  solution  {three_digits(found.days[-1].ec)} mS/cm at the end; renew by {found.renew_on:%a %d %b}",
        "",
        "  day          reference   drink   given    sump     EC",
    ]
    lines += [
        f"  {row.day:%a %d %b}   {three_digits(row.reference_mm):>6} mm  {three_digits(row.drink_l):>5} L"
        f"  {three_digits(row.given_l):>5} L  {three_digits(row.sump_l):>5} L   {three_digits(row.ec):>4}"
        + (f"  +{three_digits(row.refill_l)} L of {three_digits(row.refill_ec)} mS/cm" if row.refill_l else "")
        for row in found.days[:SHOWN_DAYS]
    ]
    if len(found.days) > SHOWN_DAYS:
        lines.append(f"  and {len(found.days) - SHOWN_DAYS} more days, see --json")
    remarks = seasons_over(pots, found.days[-1].day)
    lines += ["", *[line for one in (*problems, *remarks) for line in _wrapped(one, "  NOTE: ", 4)]]
    return [*lines, *_assumed(settings, where, found)]


def _suggested(written: "Findings", told: "Advice", tried: "Suggested | None") -> list[str]:
    """What was rehearsed on days as hot as any: the plan as it is, and the one that is suggested."""
    from waaler.bed.pots import named
    from waaler.rehearsal.advising import BETWEEN, MOST_CYCLES, unhelped

    dry = unhelped(written.pots_dry_h, written)
    does = f"lets {named(written.pots, dry)} dry past what is easy to take" if dry else "carries every pot"
    if tried is None:
        first = named(written.pots, [told.pot])
        advice = f"none: up to {MOST_CYCLES} cycles a day let {first} dry; a larger pot, a finer medium, shade"
    else:
        advice = (
            f"{tried.cycles} cycles of {tried.seconds:.0f} s, {BETWEEN[0]} to {BETWEEN[1]}: they carry every pot"
        )
    rows = (("as it is", f"on such days the plan {does} (rehearsed)"), ("suggested", f"{advice} (rehearsed)"))
    return [line for head, text in rows for line in _wrapped(text, f"  {head:<10}", 12)]


def _wrapped(text: str, head: str, indent: int) -> list[str]:
    from textwrap import wrap

    return wrap(text, width=78, initial_indent=head, subsequent_indent=" " * indent)


def _draw(path: Path, settings: "Settings", found: "Budget") -> None:
    """The expected level, evening by evening, with its low mark and refills."""
    from waaler.report.charts import Line, Mark, Span, level_chart
    from waaler.report.look import LOOK
    from waaler.report.markup import Markup, tag

    zone, figures = ZoneInfo(settings.plan.place.timezone), settings.figures
    starts_s = [datetime.combine(row.day, time(), zone).timestamp() for row in found.days]
    end_s = starts_s[-1] + DAY_S
    points = [(starts_s[0], figures.sump_full_l)]
    marks = []
    for row, start_s in zip(found.days, starts_s, strict=True):
        if row.refill_l:
            points.append((start_s + 1, figures.sump_full_l))
            marks.append(Mark(start_s, "refill", f"{row.refill_l:.0f} L on {row.day:%d %b}"))
        points.append((start_s + DAY_S, row.sump_l))
    limits = (Line(figures.sump_low_l, "low mark"),)
    chart = level_chart(
        "sump, expected", "L", Span(starts_s[0], end_s, zone), points, limits, marks, is_expected=True
    )
    whole = tag("svg", tag("style", Markup(LOOK)), chart, xmlns=SVG, width=PLOT_WIDTH, height=PLOT_HEIGHT)
    try:
        path.write_text(whole, encoding="utf-8")
    except OSError as problem:
        refuse(f"{path} cannot be written: {problem.strerror or problem}")


def _assumed(settings: "Settings", where: "Site", found: "Budget") -> list[str]:
    from waaler.bed.pots import crops_of

    parts = [f"reference by {', '.join(sorted(found.methods))}"]
    if not crops_of(settings.figures.pots):
        parts = [f"no crops are written: {three_digits(settings.file.layout.drink_per_pot)} L a pot and day"]
    elif settings.file.weather is None:
        parts.append("no weather is written: 24 and 14 C every day")
    through = f"{100 * where.shelter.transmission:.0f} % of the outdoor demand"
    if settings.file.shelter is None:
        parts.append(f"no shelter is written: {through}")
    else:
        parts.append(f"shelter {settings.file.shelter}: {through}")
    parts.append(f"plants take {100 * where.uptake_share:.0f} % of the solution's strength")
    parts.append("what a pot holds to 50 cm of suction may go between cycles; a fifth of what is given drains")
    return _wrapped("; ".join(parts), "  assumed: ", 2)


def _as_object(
    settings: "Settings",
    found: "Budget",
    told: "Advice",
    written: "Findings",
    tried: "Suggested | None",
    problems: list[str],
) -> dict[str, Any]:
    from waaler.rehearsal.advising import BETWEEN

    return {
        "bed": settings.id,
        "needs_water_at": None
        if found.outlook.needs_water_at is None
        else found.outlook.needs_water_at.isoformat(timespec="seconds"),
        "needs_water_on": None if found.needs_water_on is None else found.needs_water_on.isoformat(),
        "renew_on": found.renew_on.isoformat(),
        "first_pot": told.pot + 1,
        "safe_gap_hours": told.safe_gap_h,
        "pots_safe_gap_hours": told.gaps_h,
        "as_written_pots_dry_hours": written.pots_dry_h,
        "as_written_pots_wilted_hours": written.pots_wilted_h,
        "suggested_cycles": None if tried is None else tried.cycles,
        "suggested_seconds": None if tried is None else round(tried.seconds),
        "suggested_between": None if tried is None else BETWEEN,
        "refill_litres": told.refill_l,
        "refill_every_days": told.refill_every_days,
        "methods": sorted(found.methods),
        "problems": problems,
        "days": [
            {
                "day": row.day.isoformat(),
                "reference_mm": row.reference_mm,
                "drink_litres": row.drink_l,
                "given_litres": row.given_l,
                "pots_drink_litres": row.drinks_l,
                "pots_given_litres": row.gives_l,
                "sump_litres": row.sump_l,
                "ec_ms_per_cm": row.ec,
                "tank_litres": row.tank_l,
                "dry_litres": row.dry_l,
                "refill_litres": row.refill_l,
                "refill_ec_ms_per_cm": row.refill_ec,
            }
            for row in found.days
        ],
    }
