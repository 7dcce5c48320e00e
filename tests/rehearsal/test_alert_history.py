"""A fortnight's alerts in the history: each text as it was told, with figures that were possible then.

The relay's own trace and the simulated bed's litres say what was possible, not the core.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tests.campaign.__main__ import campaign_scene

from waaler.core.facts import AlertRaised, AlertReminded, AlertReworded, Fact
from waaler.model.faults import Fault
from waaler.records.reader import Reader
from waaler.records.rows import TellingRow, Told
from waaler.rehearsal.keeping import FileKeeping
from waaler.rehearsal.play import Play
from waaler.report.history import as_text, read_history

DAY_S, HOUR_S = 86_400.0, 3600.0
ALWAYS = (0.0, 4e9)
FAULTS = (
    Fault("blocked-drain", 2.3 * DAY_S, 4.1 * DAY_S),
    Fault("probe-dead", 5.2 * DAY_S, 6.0 * DAY_S),
    Fault("power-cut", 6.4 * DAY_S, 6.5 * DAY_S),
    Fault("sump-float-not-read", 11.5 * DAY_S, 11.8 * DAY_S),
)
CYCLE_S = 120.0
FULL_S = 0.9 * CYCLE_S
"""Nine tenths of a cycle make a full run."""

EXAMPLE = campaign_scene(days=14.0)
PLAN = replace(EXAMPLE.plan, windows=tuple(replace(one, seconds=CYCLE_S) for one in EXAMPLE.plan.windows))
SCENE = replace(EXAMPLE, plan=PLAN, faults=FAULTS, refill_after_s=20 * HOUR_S)
ZONE = ZoneInfo(SCENE.plan.place.timezone)
WAITED = re.compile(r"^No full run for ([\d.]+) h although cycles were planned\.$")
SINCE = re.compile(r"^Since (\w{3} \d+ \w{3} \d\d:\d\d)\.$")
NEEDS = re.compile(r"^The sump needs water about (\w+ \d+ \w{3} \d\d:\d\d)\.$")
PLANTS = re.compile(r"^The plants have water until about (\w{3} \d+ \w{3} \d\d:\d\d)\.$")
ADD = re.compile(r"^Unplug the pump, add (\d+) L of ")
FIGURES = re.compile(r"\d")
KNOWN = (WAITED, SINCE, NEEDS, PLANTS, ADD)


@dataclass(frozen=True)
class Moment:
    """What was true when a text was told. full_s: the end of the last full run, seconds since 1970."""

    wall_s: float
    kind: str
    text: str
    full_s: float
    is_on: bool
    at_rest_l: float


class Watched(Play):
    """Notes the relay's trace, and the true bed whenever something is told."""

    def __init__(self, *args: object) -> None:
        self.moments: list[Moment] = []
        self.on_s: float | None = None
        self.full_s = SCENE.start.timestamp()
        super().__init__(*args)  # type: ignore[arg-type]

    def _drive(self, main: bool, cutoff: bool) -> None:
        wall_s = SCENE.start.timestamp() + self.world.now_s
        if main and self.on_s is None:
            self.on_s = wall_s
        elif not main and self.on_s is not None:
            if wall_s - self.on_s >= FULL_S:
                self.full_s = wall_s
            self.on_s = None
        super()._drive(main, cutoff)

    def _keep(self, facts: list[Fact]) -> None:
        water = self.world.water
        at_rest_l = water.sump_l + water.tray_l + water.line_l + water.dripping_l
        for fact in facts:
            if isinstance(fact, AlertRaised | AlertReminded | AlertReworded):
                wall_s = SCENE.start.timestamp() + self.world.now_s
                is_on = self.on_s is not None
                self.moments.append(Moment(wall_s, fact.kind, fact.text, self.full_s, is_on, at_rest_l))
        super()._keep(facts)


@pytest.fixture(scope="module")
def fortnight(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Moment], list[TellingRow], str]:
    """What was true, what the records keep, and the history as people read it."""
    path = tmp_path_factory.mktemp("fortnight") / "t.db"
    keeping = FileKeeping(path)
    play = Watched(SCENE, keeping)
    play.run()
    keeping.close()
    with Reader(path) as reader:
        return play.moments, reader.tellings(*ALWAYS), as_text(read_history(reader, *ALWAYS, ZONE))


def moment_of(text: str, form: str, near_s: float) -> datetime:
    """A time that is told without its year."""
    near = datetime.fromtimestamp(near_s, ZONE)
    return datetime.strptime(f"{text} {near.year}", f"{form} %Y").replace(tzinfo=ZONE)


def test_every_text_stands_in_the_history_as_it_was_told_at_its_own_time(
    fortnight: tuple[list[Moment], list[TellingRow], str],
) -> None:
    moments, kept, _ = fortnight

    assert [(one.kind, one.text) for one in kept] == [(one.kind, one.text) for one in moments]
    assert all(abs(one.at_s - true.wall_s) < 1.0 for one, true in zip(kept, moments, strict=True))
    assert {one.kind for one in kept} >= {"tray-high", "cycle-missed", "sump-low-not-read", "refill-due"}
    assert {one.what for one in kept} == {Told.ALERT, Told.REMINDER, Told.REWORDED}


def test_every_figure_of_every_line_was_possible_when_it_was_told(
    fortnight: tuple[list[Moment], list[TellingRow], str],
) -> None:
    moments, kept, _ = fortnight
    first: dict[int, float] = {}
    checked = 0
    for row, true in zip(kept, moments, strict=True):
        began_s = first.setdefault(row.alert_id, row.at_s)
        for line in row.text.splitlines():
            wrong = list(impossible(line, row, true, began_s))
            assert not wrong, (datetime.fromtimestamp(row.at_s, ZONE), row.kind, line, wrong)
            checked += any(pattern.match(line) for pattern in KNOWN)
    assert checked > 100


def impossible(line: str, row: TellingRow, true: Moment, began_s: float) -> Iterator[str]:
    """Why a line could not be true at its time."""
    now = datetime.fromtimestamp(true.wall_s, ZONE)
    if found := SINCE.match(line):
        since = moment_of(found[1], "%a %d %b %H:%M", true.wall_s)
        if not since.timestamp() <= began_s < since.timestamp() + 60:
            yield "not when it was raised"
    elif found := WAITED.match(line):
        hours = (true.wall_s - true.full_s) / HOUR_S
        if abs(float(found[1]) - hours) > 0.06:
            yield f"the relay's last full run was {hours:.2f} h ago"
    elif found := NEEDS.match(line):
        when = moment_of(found[1], "%A %d %b %H:%M", true.wall_s)
        if not now - timedelta(minutes=30) <= when <= now + timedelta(hours=61):
            yield "not within the two days and their margin"
    elif found := PLANTS.match(line):
        until = moment_of(found[1], "%a %d %b %H:%M", true.wall_s)
        if not now < until <= datetime.fromtimestamp(true.full_s, ZONE) + timedelta(days=2):
            yield "over, or longer than any pot of the example lasts"
    elif found := ADD.match(line):
        room_l = SCENE.figures.sump_full_l - true.at_rest_l
        if true.is_on or not 0.7 * room_l <= float(found[1]) <= room_l + 25.0:
            yield f"the pump is {'on' if true.is_on else 'off'}, and {room_l:.0f} L have room"
    elif FIGURES.search(line.removeprefix("pot_5")):
        yield "a figure that nobody has checked"


def test_reminders_of_a_growing_wait_tell_other_hours_each_time_and_the_history_shows_them(
    fortnight: tuple[list[Moment], list[TellingRow], str],
) -> None:
    _, kept, shown = fortnight
    hours = [float(found[1]) for row in kept if (found := WAITED.match(row.text.splitlines()[0]))]

    assert len(hours) >= 5
    assert hours[:5] == sorted(hours[:5])
    assert hours[0] < 12 < 18 < max(hours)
    for one in hours[:5]:
        assert f": No full run for {one:.1f} h although" in shown
