"""Plays the plan on a simulated bed."""

import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from math import ceil, prod
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import (
    Day,
    Seconds,
    echo_json,
    file_argument,
    json_option,
    read_settings,
    refuse,
    three_digits,
)

if TYPE_CHECKING:
    from waaler.model.faults import Fault
    from waaler.model.world import Sky
    from waaler.rehearsal.scene import Findings, Scene
    from waaler.rehearsal.what_if import Tried
    from waaler.settings import Settings

__all__ = ["command"]


@click.command("rehearse")
@click.option("--days", type=click.FloatRange(0.1, 3660), default=7.0, show_default=True, help="How long.")
@click.option("--seed", type=int, default=1, show_default=True, help="Of the sensors' noise.")
@click.option("--from", "first", type=Day(), help="First day; today if left out.")
@click.option("--fault", "fault_texts", multiple=True, help="What goes wrong: NAME@3d+10:00..12h; more than once.")
@click.option("--faults", "lists_faults", is_flag=True, help="List the faults by name.")
@click.option("--random-faults", type=click.IntRange(1, 100_000), help="So many days with random faults each.")
@click.option("--heat", type=click.FloatRange(-20, 20), default=0.0, help="A heat wave: degrees on every day.")
@click.option("--refill", type=Seconds(), help="So long after the alert somebody fills the sump: 12h.")
@click.option("--try", "tries", multiple=True, help="KEY=A,B,C of the windows: play each; several are combined.")
@click.option("--report", "report", type=click.Path(path_type=Path, dir_okay=False), help="Write an HTML page too.")
@json_option
@file_argument
def command(
    days: float,
    seed: int,
    first: datetime | None,
    fault_texts: tuple[str, ...],
    lists_faults: bool,
    random_faults: int | None,
    heat: float,
    refill: float | None,
    tries: tuple[str, ...],
    report: Path | None,
    as_json: bool,
    file: Path | None,
) -> None:
    """Play the plan on a simulated bed, thousands of times faster than time.

    The same core as the daemon's decides; the records go to ID.rehearsal.db, which `waaler history --rehearsal`
    reads. Exit 1 if plants wilt or a trip cuts a run.

    Example: waaler rehearse --days 14 --heat 6 --fault blocked-drain@3d+10:00..12h
    """
    if lists_faults:
        _list_faults()
        return
    from waaler.rehearsal.keeping import play_and_keep
    from waaler.rehearsal.scene import Scene

    settings = read_settings(file)
    zone = ZoneInfo(settings.plan.place.timezone)
    start = datetime.now(zone) if first is None else first
    start = start.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=zone).astimezone(UTC)
    faults = _faults(fault_texts)
    skies = _skies(settings, start.astimezone(zone).date(), days, heat)
    scene = Scene(
        settings.plan, settings.sensing, settings.limits, settings.figures, start, days, seed, faults, skies
    )
    if refill is not None:
        scene = replace(scene, refill_after_s=refill)
    if random_faults is not None:
        sys.exit(_campaign(scene, random_faults, seed))
    if tries:
        sys.exit(_what_if(settings, scene, _choices(tries), as_json))
    findings = _with_progress(scene.days, lambda progress: play_and_keep(settings.id, scene, progress))
    if report is not None:
        _write_report(settings, scene, findings, report)
    if as_json:
        echo_json(_as_object(settings, days, findings))
    else:
        for line in _as_lines(settings, days, start.astimezone(zone), findings):
            click.echo(line)
    sys.exit(1 if findings.does_starve or findings.trips else 0)


def _write_report(settings: "Settings", scene: "Scene", found: "Findings", out: Path) -> None:
    from waaler.cli.report import write_report

    worst = f" The driest moment: {found.driest_percent:.0f} % of what the media hold, {_when(found.driest_at)}."
    faults = [f"Fault: {fault.name} from day {fault.starts_s / 86_400:.2g} on." for fault in scene.faults]
    assumed = ("Simulated: every pot drinks alike, by the sun and the file's figures.", *faults)
    is_bad = found.does_starve or bool(found.trips)
    try:
        write_report(settings, out, ceil(scene.days), True, _verdict(found) + worst, is_bad, assumed)
    except OSError as problem:
        refuse(f"{out}: cannot be written: {problem.strerror or problem}")


def _skies(settings: "Settings", first: date, days: float, heat_c: float) -> "tuple[Sky, ...]":
    """By the file's crops and weather; without both, and without heat, every day as its figures say."""
    from waaler.rehearsal.skies import skies
    from waaler.settings import SettingsError
    from waaler.settings.build_site import site, weather

    if not settings.file.crops and settings.file.weather is None and heat_c == 0:
        return ()
    try:
        sky = weather(settings.file, Path(settings.source.name).parent)
    except SettingsError as problem:
        refuse(str(problem), 2)
    return skies(site(settings.file), settings.figures, first, days, sky, heat_c)


def _list_faults() -> None:
    from waaler.model.faults import FAULTS

    for name, what in FAULTS.items():
        click.echo(f"  {name:22} {what}")


def _faults(texts: tuple[str, ...]) -> "tuple[Fault, ...]":
    from waaler.rehearsal.script import FaultTextError, fault

    try:
        return tuple(fault(text) for text in texts)
    except FaultTextError as problem:
        raise click.BadParameter(str(problem), param_hint="--fault") from None


def _campaign(scene: "Scene", count: int, seed: int) -> int:
    """Days with random faults before a judge; 1 if the guard let anything pass or plants starved."""
    from waaler.rehearsal.campaign import tell_all

    day = replace(scene, days=1.0, faults=())
    told = _with_progress(float(count), lambda progress: tell_all(day, count, seed, progress))
    violations = [violation.what for one in told for violation in one.violations]
    starved = [one for one in told if one.starved_h > 0]
    click.echo(f"{count} days with random faults, {sum(one.runs for one in told)} runs, refusals and skips")
    click.echo(f"  violations of the safety table: {len(violations)}")
    click.echo(f"  days on which plants wilted though water and pump were there: {len(starved)}")
    for what in violations[:5]:
        click.echo(f"    {what}")
    return 1 if violations or starved else 0


def _choices(texts: tuple[str, ...]) -> dict[str, list[str]]:
    """`cycles=4,5,6` and `water=2min,3min`."""
    from waaler.rehearsal.what_if import MOST_TRIES

    choices: dict[str, list[str]] = {}
    for text in texts:
        key, equals, values = text.partition("=")
        kept = [value.strip() for value in values.split(",") if value.strip()]
        if not equals or not kept or key in choices:
            raise click.BadParameter(f"'{text}' is no choice; write cycles=4,5,6", param_hint="--try")
        choices[key.strip()] = kept
    count = prod(len(values) for values in choices.values())
    if count > MOST_TRIES:
        raise click.BadParameter(f"{count} combinations; at most {MOST_TRIES}", param_hint="--try")
    return choices


def _what_if(settings: "Settings", scene: "Scene", choices: dict[str, list[str]], as_json: bool) -> int:
    """A table of all combinations, best first; 1 if none keeps the bed."""
    from waaler.rehearsal.what_if import try_all
    from waaler.settings import SettingsError

    count = prod(len(values) for values in choices.values())
    try:
        tried = _with_progress(float(count), lambda progress: try_all(settings, scene, choices, progress))
    except SettingsError as problem:
        refuse(str(problem), 2)
    if as_json:
        echo_json([{**dict(one.changes), **_as_object(settings, scene.days, one.found)} for one in tried])
    else:
        for line in _tries_as_lines(settings, scene, tried):
            click.echo(line)
    return 0 if tried[0].is_sound else 1


def _tries_as_lines(settings: "Settings", scene: "Scene", tried: "list[Tried]") -> list[str]:
    lines = [
        f"{settings.title} ({settings.id}): {len(tried)} plans, {scene.days:g} days each",
        "",
        "  driest   wilted    lifted   sump low     trips  with",
    ]
    for one in tried:
        found = one.found
        low = found.sump_low_at or found.sump_low_expected
        words = ", ".join(f"{key} {value}" for key, value in one.changes)
        lines.append(
            f"  {found.driest_percent:4.0f} %  {found.wilted_h:5.0f} h  {three_digits(found.lifted_l):>6} L"
            f"   {'never' if low is None else f'{low:%a %d %b}':<11}{len(found.trips):5}  {words}"
        )
    best = tried[0]
    if not best.is_sound:
        return [*lines, "", "None of them keeps every pot above its limit without a trip."]
    words = ", ".join(f"{key} {value}" for key, value in best.changes)
    return [*lines, "", f"The least water that keeps every pot above its limit: {words}."]


def _with_progress(days: float, play: Any) -> Any:
    """With a bar on a terminal, without one in a pipe."""
    if not sys.stderr.isatty():
        return play(None)
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("rehearsing", total=days)
        return play(lambda done: bar.update(task, completed=done))


def _as_lines(settings: "Settings", days: float, start: datetime, found: "Findings") -> list[str]:
    from waaler.core.facts import Outcome

    count = found.counts.get
    lines = [
        f"{settings.title} ({settings.id}): {days:g} days from {start:%a %d %b %Y}, simulated",
        "",
        f"  runs      {count(Outcome.DONE, 0)} done, {found.extended} of them lengthened,"
        f" {count(Outcome.SKIPPED, 0)} skipped, {count(Outcome.CUT_SHORT, 0)} cut short,"
        f" {count(Outcome.REFUSED, 0)} refused",
        f"  pump      {three_digits(found.pump_s / 60)} min, {three_digits(found.lifted_l)} L lifted;"
        f" the plants drank {three_digits(found.drunk_l)} L",
        f"  driest    {found.driest_percent:.0f} % of what the media hold, {_when(found.driest_at)}"
        f" (they wilt below {found.wilting_percent:.0f} %)",
        f"  sump      {found.sump_end_l:.0f} L at the end of {found.sump_start_l:.0f} L; {_low(found)}",
    ]
    if found.refills:
        litres, first, last = sum(litres for _, litres in found.refills), found.refills[0], found.refills[-1]
        words = f"{len(found.refills)}, {three_digits(litres)} L, {_when(first[0])} to {_when(last[0])}"
        lines.append(f"  refills   {words}")
    lines += [f"  trip      {_when(at)}: {reason}" for at, reason in found.trips[:10]]
    if len(found.trips) > 10:
        lines.append(f"            and {len(found.trips) - 10} more: see `waaler history --rehearsal`")
    if found.spilled_l > 0:
        lines.append(f"  spilled   {three_digits(found.spilled_l)} L over the tray's rim")
    return [*lines, "", _verdict(found)]


def _verdict(found: "Findings") -> str:
    if found.does_starve:
        return (
            f"Plants wilt: {three_digits(found.wilted_h)} h below the wilting mark. Water more, or refill sooner."
        )
    if found.trips:
        return f"The guard cut {len(found.trips)} runs: see why with `waaler history --rehearsal`."
    return "The plan keeps the media moist, and nothing tripped."


def _low(found: "Findings") -> str:
    if found.sump_low_at is not None:
        return f"reads low from {_when(found.sump_low_at)}: refill before"
    if found.sump_low_expected is None:
        return "it does not go down"
    return f"at this drink low about {found.sump_low_expected:%a %d %b}"


def _when(at: datetime | None) -> str:
    return "never" if at is None else f"{at:%a %d %b %H:%M}"


def _as_object(settings: "Settings", days: float, found: "Findings") -> dict[str, Any]:
    def stamp(at: datetime | None) -> str | None:
        return None if at is None else at.isoformat(timespec="seconds")

    return {
        "bed": settings.id,
        "days": days,
        "runs": {outcome.value: count for outcome, count in found.counts.items()},
        "lengthened": found.extended,
        "pump_seconds": round(found.pump_s, 1),
        "lifted_litres": round(found.lifted_l, 3),
        "drunk_litres": round(found.drunk_l, 3),
        "spilled_litres": round(found.spilled_l, 3),
        "driest_percent": round(found.driest_percent, 2),
        "driest_at": stamp(found.driest_at),
        "wilted_hours": round(found.wilted_h, 2),
        "sump_start_litres": round(found.sump_start_l, 3),
        "sump_end_litres": round(found.sump_end_l, 3),
        "refills": [{"at": stamp(at), "litres": round(litres, 3)} for at, litres in found.refills],
        "sump_low_at": stamp(found.sump_low_at),
        "sump_low_expected": stamp(found.sump_low_expected),
        "trips": [{"at": stamp(at), "reason": reason} for at, reason in found.trips],
        "alerts": [{"at": stamp(at), "text": text} for at, text in found.alerts],
    }
