"""Plays the plan on a simulated bed."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from math import ceil, prod
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import Day, Seconds, echo, echo_json, file_argument, json_option, read_settings, refuse
from waaler.cli.rehearsed import (
    as_lines,
    as_object,
    best_words,
    changes_words,
    low_words,
    tries_as_lines,
    verdict,
    when,
)  # fmt: skip

if TYPE_CHECKING:
    from collections.abc import Callable

    from waaler.model.faults import Fault
    from waaler.rehearsal.scene import Findings, Scene
    from waaler.rehearsal.what_if import Tried
    from waaler.settings import Settings

__all__ = ["command"]

Result = TypeVar("Result")


@click.command("rehearse")
@click.option("--days", type=click.FloatRange(0.1, 3660), default=7.0, show_default=True, help="How long.")
@click.option("--seed", type=int, default=1, show_default=True, help="Of the sensors' noise.")
@click.option("--from", "first", type=Day(), help="First day; today if left out.")
@click.option("--fault", "fault_texts", multiple=True, help="What goes wrong: NAME@3d+10:00..12h; more than once.")
@click.option("--story", type=click.Path(path_type=Path), help="A file with `faults:` and a list of such texts.")
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
    story: Path | None,
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

    settings = read_settings(file)
    zone = ZoneInfo(settings.plan.place.timezone)
    start = datetime.now(zone) if first is None else first
    start = start.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=zone).astimezone(UTC)
    faults = (*_story(story), *_faults(fault_texts))
    scene = _scene(settings, start, days, seed, faults, heat, refill)
    if random_faults is not None:
        sys.exit(_campaign(scene, random_faults, seed))
    if tries:
        sys.exit(_what_if(settings, scene, _choices(tries), report, as_json))
    findings = _with_progress(scene.days, lambda progress: play_and_keep(settings.id, scene, progress))
    if report is not None:
        _write_report(settings, scene, findings, report)
    if as_json:
        echo_json(as_object(settings, days, findings))
    else:
        for line in as_lines(settings, days, start.astimezone(zone), findings):
            echo(line)
    sys.exit(1 if findings.does_starve or findings.trips else 0)


def _scene(
    settings: "Settings",
    start: datetime,
    days: float,
    seed: int,
    faults: "tuple[Fault, ...]",
    heat_c: float,
    refill_s: float | None,
) -> "Scene":
    from math import inf

    from waaler.rehearsal.staging import scene_of
    from waaler.settings import SettingsError

    try:
        return scene_of(settings, start, days, seed, faults, heat_c, inf if refill_s is None else refill_s)
    except SettingsError as problem:
        refuse(str(problem), 2)


def _write_report(settings: "Settings", scene: "Scene", found: "Findings", out: Path) -> None:
    from waaler.bed.pots import named
    from waaler.cli.report import write_report

    worst = (
        f" The driest moment: {named(found.pots, [found.driest_pot - 1])} at {found.driest_percent:.0f} %"
        " of what its media hold,"
        f" {when(found.driest_at)}."
    )
    faults = [f"Fault: {fault.name} from day {fault.starts_s / 86_400:.2g} on." for fault in scene.faults]
    assumed = (_assumption(settings), *faults)
    is_bad = found.does_starve or bool(found.trips)
    try:
        write_report(settings, out, ceil(scene.days), True, verdict(found) + worst, is_bad, assumed)
    except OSError as problem:
        refuse(f"{out}: cannot be written: {problem.strerror or problem}")


def _assumption(settings: "Settings") -> str:
    flows = "outlet by outlet, as the layout says" if settings.layout is not None else "the same for every pot"
    drink = "what the crop in it" if settings.file.crops else "what the file's figure"
    return f"Simulated: flows {flows}; each pot drinks {drink} says, by the sun; the solution is well mixed."


def _list_faults() -> None:
    from waaler.model.faults import FAULTS

    for name, what in FAULTS.items():
        echo(f"  {name:22} {what}")


def _story(path: Path | None) -> "tuple[Fault, ...]":
    from waaler.rehearsal.script import story
    from waaler.settings import SettingsError
    from waaler.settings.outside_file import text_of

    if path is None:
        return ()
    try:
        text_of(path)  # refuses a pipe, a device or a folder before anybody waits for it
        return story(path)
    except SettingsError as problem:
        refuse(str(problem), 2)


def _faults(texts: tuple[str, ...]) -> "tuple[Fault, ...]":
    from waaler.rehearsal.script import FaultTextError, fault

    try:
        return tuple(fault(text) for text in texts)
    except FaultTextError as problem:
        raise click.BadParameter(str(problem), param_hint="--fault") from None


def _campaign(scene: "Scene", count: int, seed: int) -> int:
    """Days with random faults before a judge; 1 if the guard let anything pass or plants starved."""
    from waaler.rehearsal.campaign import stories, tell_all

    telling = stories(replace(scene, days=1.0, faults=()), count, seed)
    told = _with_progress(float(count), lambda progress: tell_all(telling, lambda one: progress(one.number + 1)))
    violations = [violation.what for one in told for violation in one.violations]
    starved = [one for one in told if one.starved_h > 0]
    echo(f"{count} days with random faults, {sum(one.runs for one in told)} runs, refusals and skips")
    echo(f"  violations of the safety table: {len(violations)}")
    echo(f"  days on which plants wilted though water and pump were there: {len(starved)}")
    for what in violations[:5]:
        echo(f"    {what}")
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


def _what_if(
    settings: "Settings", scene: "Scene", choices: dict[str, list[str]], report: Path | None, as_json: bool
) -> int:
    """A table of all combinations, best first, and a page with a plot; 1 if none keeps the bed."""
    from waaler.rehearsal.what_if import try_all
    from waaler.settings import SettingsError

    count = prod(len(values) for values in choices.values())
    try:
        tried = _with_progress(float(count), lambda progress: try_all(settings, scene, choices, progress))
    except SettingsError as problem:
        refuse(str(problem), 2)
    if report is not None:
        _write_tries(settings, scene, tried, report)
    if as_json:
        echo_json([{**dict(one.changes), **as_object(settings, scene.days, one.found)} for one in tried])
    else:
        for line in tries_as_lines(settings, scene.days, tried):
            echo(line)
    return 0 if tried[0].is_sound else 1


def _write_tries(settings: "Settings", scene: "Scene", tried: "list[Tried]", out: Path) -> None:
    from waaler.report.bed import Bed
    from waaler.report.page_of_tries import Try, page_of_tries
    from waaler.settings.replacing import replaced

    told = [
        Try(
            changes=changes_words(one),
            driest_percent=one.found.driest_percent,
            wilted_h=one.found.wilted_h,
            lifted_l_per_day=one.found.lifted_l / scene.days,
            low=low_words(one.found),
            trips=len(one.found.trips),
            is_sound=one.is_sound,
        )
        for one in tried
    ]
    bed = Bed.of(settings)
    period = f"{scene.days:g} days from {scene.start.astimezone(bed.zone):%-d %B %Y}, simulated"
    try:
        with replaced(out) as new:
            new.write_text(page_of_tries(bed, best_words(tried), period, told), encoding="utf-8")
    except OSError as problem:
        refuse(f"{out}: cannot be written: {problem.strerror or problem}")


def _with_progress(days: float, play: "Callable[[Callable[[float], object]], Result]") -> "Result":
    """With a bar on a terminal, without one in a pipe. play: is given what to call with the days played so far."""
    if not sys.stderr.isatty():
        return play(lambda _: None)
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("rehearsing", total=days)
        return play(lambda done: bar.update(task, completed=done))
