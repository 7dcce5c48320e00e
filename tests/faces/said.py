"""What each face says of the same moment, read as a person or a program would read it, and where two differ."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from prometheus_client.openmetrics.parser import text_string_to_metric_families
from tests.core.bench import Bench
from tests.page.asking import Page, ask, site_of

from waaler.cli import status as shell
from waaler.cli.watch import lines as watched
from waaler.core.status import Present, Status, status_of
from waaler.keeper import status as daemon
from waaler.keeper.status import local
from waaler.notify import fleet, follower
from waaler.notify.good_day import line
from waaler.records.reader import Reader
from waaler.report.bed import Bed
from waaler.report.metrics import metrics
from waaler.report.page_of_period import page_of_period
from waaler.report.period import read_period
from waaler.settings import Settings

__all__ = ["Asked", "Said", "differences", "faces"]

NONE = "none"
"""What is told of a moment or a reason that there is not, against None: the face tells nothing of it."""

SUMP_CELL = re.compile(r"^sump\n(?P<litres>\d+) L\n(?:(?P<days>[\d.]+) days|lasts)", re.MULTILINE)
SHELL_SUMP = re.compile(
    r"  sump     (?P<litres>\d+) L.*?; (?:(?P<days>[\d.]+) days, needs water by (?P<day>.*)|lasts)"
)
PERIOD = re.compile(r"in the sump at the end\s+(?P<litres>\d+) L, (?P<days>[\d.]+) days")
STATE_INFO = "waaler_state_info"


@dataclass(frozen=True, slots=True)
class Asked:
    settings: Settings
    file: Path
    records: Path
    bench: Bench

    @property
    def now(self) -> datetime:
        return local(self.bench.wall_s, self.settings.plan.place.timezone)


@dataclass(frozen=True, slots=True)
class Said:
    """None for what a face does not tell. day: on which the sump needs water. next: `2026-06-21 14:05`, or none yet.

    wait: why no run comes before, until when, and what to do; until: the first two of these; reason: the first alone.
    readings: by sensor.
    """

    face: str
    litres: float | None = None
    litres_within: float = 0.0
    days: float | None = None
    days_within: float = 0.0
    day: str | None = None
    tells_days: bool = False
    state: str | None = None
    next: str | None = None
    wait: str | None = None
    until: str | None = None
    reason: str | None = None
    last_full: str | None = None
    readings: Mapping[str, float] = field(default_factory=dict)
    readings_within: float = 0.0


def faces(asked: Asked, before: Present | None) -> Iterator[Said]:
    """What each says now: the daemon first, then whoever reads its answer, its messages or its records.

    before: what the records were told of the present.
    """
    core, bed, wall_s = asked.bench.core, Bed.of(asked.settings), asked.bench.wall_s
    now = daemon.status(core.decisions, core.guard, {}, asked.bench.at, asked.bench.long_s, before)
    told = json.loads(json.dumps(follower.as_told(replace(now, bed=bed.id, title=bed.title))))
    yield _of_status(now)
    yield _of_mqtt(told)
    yield _of_fleet(told, asked)
    yield _of_shell(told, asked)
    yield _of_unit(daemon.one_line(now, asked.now), asked)
    yield _of_page(ask(site_of(asked.file, now_s=wall_s)).text, asked)
    yield _of_metrics(metrics([(bed, asked.records)], wall_s), asked)
    with Reader(asked.records) as reader:
        for days in (0.5, 3.0):
            period = read_period(reader, bed, wall_s - days * 86_400, wall_s, wall_s)
            yield _of_report(f"report of {days} days", Page(page_of_period(period)).words)
        yield _of_line(line(reader, bed, wall_s), asked)


# --- the daemon, and who hears it ---------------------------------------------------------------


def _of_status(now: Status) -> Said:
    sump, wait = now.sump, now.wait
    assert sump is not None
    return Said(
        "status",
        sump.litres,
        0.05,
        sump.days,
        0.005,
        _day_of(sump.needs_water_at),
        tells_days=True,
        state=str(now.state),
        next=NONE if now.next is None else f"{now.next.start:%Y-%m-%d %H:%M}",
        wait=NONE if wait is None else _wait(wait.reason, wait.until, wait.do, now.at),
        until=NONE if wait is None else _wait(wait.reason, wait.until, "", now.at),
        reason=NONE if wait is None else wait.reason,
        last_full=NONE if now.last_full_at is None else f"{now.last_full_at:%Y-%m-%d %H:%M}",
        readings={one.name: one.value for one in now.readings if one.value is not None},
        readings_within=0.005,
    )


def _wait(reason: str, until: datetime | None, do: str, now: datetime | None) -> str:
    """Written out here once more, so that nobody's wording passes for another's."""
    assert now is not None
    end = ""
    if until is not None:
        end = ", until " + (f"today, {until:%H:%M}" if until.date() == now.date() else f"{until:%a %-d %b, %H:%M}")
    return f"{reason}{end}; {do}" if do else f"{reason}{end}"


def _of_mqtt(told: Mapping[str, object]) -> Said:
    """The payload as any other program reads it."""
    payload: Any = told
    run, wait, sump = payload["next"], payload["wait"], payload["sump"]
    at = datetime.fromisoformat(payload["at"])
    until = None if wait is None or wait["until"] is None else datetime.fromisoformat(wait["until"])
    return Said(
        "MQTT",
        sump["litres"],
        0.05,
        sump["days"],
        0.005,
        (sump["needs_water_at"] or "")[:10] or None,
        tells_days=True,
        state=payload["state"],
        next=NONE if run is None else run["start"][:16].replace("T", " "),
        wait=NONE if wait is None else _wait(wait["reason"], until, wait["do"], at),
        readings={one["name"]: one["value"] for one in payload["readings"] if one["value"] is not None},
        readings_within=0.005,
    )


def _of_fleet(told: Mapping[str, object], asked: Asked) -> Said:
    """By what the terminal shows; 80 columns cut a long reason."""
    wall_s = asked.bench.wall_s
    seen = fleet.Fleet()
    for topic, payload in (("online", b"true"), ("status", json.dumps(told).encode())):
        seen = fleet.take(seen, f"waaler/terrace/{topic}", payload, wall_s)
    _, _, row, *more = watched(fleet.rows(seen, wall_s))
    sump = re.fullmatch(r"(\d+) L(?:, \D*(\d+ \w+))?", row[54:])
    assert sump, row
    (whole,) = fleet.rows(seen, wall_s)
    return Said(
        "fleet",
        float(sump[1]),
        0.5,
        day=sump[2] and _date(f"{sump[2]} 2026"),
        state=row[23:41].strip(),
        next=f"2026-{row[42:53].strip()}" if row[42:53].strip() else NONE,
        until=_fits(more[0].strip().removeprefix("waits: ") if more else NONE, whole["wait"]),
    )


def _fits(shown: str, whole: str) -> str:
    """The whole of what a terminal cuts off."""
    return whole if shown != NONE and whole.startswith(shown) else shown


def _of_shell(told: Mapping[str, object], asked: Asked) -> Said:
    """By its lines, those that were broken put together again."""
    shown = "\n".join(shell._lines(status_of(told)))
    text = re.sub(r"\n {11}", " ", shown)
    sump = SHELL_SUMP.search(text)
    assert sump, text
    when = _row(text, "next")
    readings = {name: float(value) for name, value in re.findall(r"  sensor   (\w+): ([\d.]+) ", text)}
    return Said(
        "shell",
        float(sump["litres"]),
        0.5,
        None if sump["days"] is None else float(sump["days"]),
        0.05,
        sump["day"] and _moment(sump["day"], asked)[:10],
        tells_days=True,
        state=text.splitlines()[0].partition(": ")[2],
        next=_moment(when.partition(";")[0], asked),
        wait=_row(text, "waits") or NONE,
        last_full=_last_full(_row(text, "last"), asked),
        readings=readings,
        readings_within=0.5,
    )


def _last_full(text: str, asked: Asked) -> str:
    """Named where the last run was none, else it is the last run itself."""
    if text == "no run yet" or text.endswith("no full run yet"):
        return NONE
    found = re.search(r"full run (.*)$", text) or re.match(r"([^;]*);", text)
    assert found, text
    return _moment(found[1], asked)


def _of_unit(text: str, asked: Asked) -> Said:
    state, _, more = text.partition("; ")
    run = re.match(r"next run ([^;]*)(?:; )?", more)
    wait = more if run is None else more[run.end() :]
    return Said("unit", state=state, next=NONE if run is None else _moment(run[1], asked), wait=wait or NONE)


def _row(text: str, name: str) -> str:
    found = re.search(rf"^  {name:<8} (.*)$", text, re.MULTILINE)
    return "" if found is None else found[1]


# --- who reads the records ----------------------------------------------------------------------


def _of_page(html: str, asked: Asked) -> Said:
    words = Page(html).words
    state = re.search(r"<strong>([^<]*)</strong>[^<]*</p>", html[html.index('class="verdict') :])
    sump = SUMP_CELL.search(words)
    run = re.search(r"\nnext run\n([^\n]*)\n(?:([^\n]*)\n)?", words)
    pot = re.search(r"\npot 3\n([\d.]+) %\n", words)
    assert state, html
    assert sump, words
    assert run, words
    assert pot, words
    full = re.search(r"\nlast full run\n([^\n]*)\n", words)
    return Said(
        "page",
        float(sump["litres"]),
        0.5,
        None if sump["days"] is None else float(sump["days"]),
        0.05,
        tells_days=True,
        state=state[1],
        next=_moment(run[1], asked),
        until=_without_the_run(run[2]),
        last_full=NONE if full is None else _moment(full[1], asked),
        readings={"pot_3": float(pot[1])},
        readings_within=0.5,
    )


def _without_the_run(text: str) -> str:
    """What is left where the kind of the run, or the place of its cycle in the plan, is taken away."""
    found = re.match(r"(?:\d+ s, [^;]*|[^;]*; day: cycle \d+ of \d+, evenly from [\d:]+ to [\d:]+)(?:; |$)", text)
    return (text if found is None else text[found.end() :]) or NONE


def _of_metrics(text: str, asked: Asked) -> Said:
    samples = [
        sample
        for family in text_string_to_metric_families(text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    ]
    found = {sample.name: sample.value for sample in samples}
    (state,) = (sample.labels for sample in samples if sample.name == STATE_INFO)
    zone = asked.settings.plan.place.timezone

    def minute(name: str) -> str:
        return f"{local(found[name], zone):%Y-%m-%d %H:%M}" if name in found else NONE

    return Said(
        "metrics",
        found["waaler_sump_litres"],
        1e-6,
        found.get("waaler_sump_left_days"),
        1e-3,
        tells_days=True,
        state=state["state"],
        next=minute("waaler_next_run_seconds"),
        reason=state["waits_for"] or NONE,
        last_full=minute("waaler_last_full_run_seconds"),
        readings={one.labels["sensor"]: one.value for one in samples if one.name == "waaler_reading"},
        readings_within=0.005,
    )


def _of_report(face: str, words: str) -> Said:
    """A period in which nothing was noted of the sump tells nothing of it."""
    found = PERIOD.search(words)
    if found is None:
        return Said(face)
    return Said(face, float(found["litres"]), 0.5, float(found["days"]), 0.05, tells_days=True)


def _of_line(text: str, asked: Asked) -> Said:
    """The day of the week where it is near, else the date. The next run only where it waits for something."""
    low = re.search(r"needs water about (\w+)(?: (\w+))?", text)
    run = re.search(r"next run: (.*?) \((.*)\)", text)
    return Said(
        "daily line",
        day=NONE
        if low is None
        else _weekday(low[1], asked)
        if low[2] is None
        else _date(f"{low[1]} {low[2]} 2026"),
        next=None if run is None else _moment(run[1], asked),
        wait=NONE if run is None else run[2],
    )


# --- moments ------------------------------------------------------------------------------------


def _day_of(moment: datetime | None) -> str | None:
    return None if moment is None else f"{moment:%Y-%m-%d}"


def _date(text: str) -> str:
    for form in ("%d %b %Y", "%d %B %Y"):
        try:
            return f"{datetime.strptime(text, form):%Y-%m-%d}"
        except ValueError:
            continue
    return text


def _weekday(name: str, asked: Asked) -> str:
    """The date of the next day of this name, today included."""
    days = (asked.now + timedelta(days=n) for n in range(7))
    return next((f"{day:%Y-%m-%d}" for day in days if f"{day:%A}" == name), name)


def _moment(words: str, asked: Asked) -> str:
    """`today, 14:05` or `Tue 23 Jun, 14:05` as `2026-06-23 14:05`; `none yet` as none."""
    if words.startswith("none"):
        return NONE
    day, _, clock = words.partition(", ")
    if day == "today":
        return f"{asked.now:%Y-%m-%d} {clock}"
    return f"{_date(f'{day.partition(chr(32))[2]} 2026')} {clock}"


# --- differences --------------------------------------------------------------------------------


def differences(said: list[Said]) -> list[str]:
    """What faces say otherwise than the first of them, beyond what they round to."""
    first, *others = said
    return [difference for other in others for difference in _differences(first, other)]


def _differences(first: Said, other: Said) -> Iterator[str]:
    within_l, within = first.litres_within + other.litres_within, first.days_within + other.days_within
    if other.litres is not None and _differ(first.litres, other.litres, within_l):
        yield f"{first.face}: {first.litres} L, {other.face}: {other.litres} L"
    if other.tells_days and first.tells_days and _differ(first.days, other.days, within):
        yield f"{first.face}: {first.days} days, {other.face}: {other.days} days"
    if other.day is not None and (first.day or NONE) != other.day:
        yield f"{first.face}: needs water on {first.day}, {other.face}: {other.day}"
    for what in ("state", "next", "wait", "until", "reason", "last_full"):
        one, two = getattr(first, what), getattr(other, what)
        if two is not None and one != two:
            yield f"{what}: {first.face}: {one}, {other.face}: {two}"
    within = first.readings_within + other.readings_within
    for name, value in other.readings.items():
        if _differ(first.readings.get(name), value, within):
            yield f"{name}: {first.face}: {first.readings.get(name)}, {other.face}: {value}"


def _differ(one: float | None, other: float | None, within: float) -> bool:
    return one != other if one is None or other is None else abs(one - other) > within + 1e-9
