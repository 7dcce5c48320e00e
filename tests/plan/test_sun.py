"""The sun's times against NREL's solar position algorithm.

Source: tests/reference/sun_times.yaml, computed with pvlib 0.16.1. Tolerance: 60 s beside the rounding to whole
minutes of 30 s; 120 s above 60 degrees, where the sun grazes the horizon.
"""

from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import yaml
from pandas import DatetimeIndex
from pvlib.solarposition import spa_python

from waaler.plan.sun import sun_event
from waaler.plan.types import Place, SunEvent

TABLE = yaml.safe_load((Path(__file__).parents[1] / "reference" / "sun_times.yaml").read_text())["places"]
KINDS = {"rise": SunEvent.SUNRISE, "set": SunEvent.SUNSET}


def place(row: dict) -> Place:  # type: ignore[type-arg]
    return Place(row["zone"], row["latitude_deg"], row["longitude_deg"])


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["place"])
def test_rise_and_set_agree_with_the_reference(row: dict) -> None:  # type: ignore[type-arg]
    tolerance_s = (120 if abs(row["latitude_deg"]) > 60 else 60) + 30
    for event in row["events"]:
        expected = datetime.fromisoformat(event["local"])
        day = expected.date()
        if event["kind"] == "set" and expected.hour < 12:  # the sun of the day before sets after midnight
            day -= timedelta(days=1)
        found = sun_event(place(row), KINDS[event["kind"]], day)

        assert found is not None
        assert abs((found - expected).total_seconds()) <= tolerance_s
        assert found.second == 0


@pytest.mark.parametrize(
    "where",
    [
        Place("Asia/Kolkata", 28.61, 77.21),  # sunrise near midnight of UTC
        Place("Asia/Urumqi", 43.83, 87.62),
        Place("Asia/Shanghai", 43.83, 87.62),  # the sun two hours behind the clock
        Place("Pacific/Kiritimati", 1.87, -157.4),  # a day ahead of its longitude
        Place("America/Los_Angeles", 37.77, -122.42),  # sunset near midnight of UTC
        Place("Atlantic/Reykjavik", 64.15, -21.94),  # sunset after midnight in June
    ],
    ids=lambda where: f"{where.timezone} {where.longitude_deg}",
)
@pytest.mark.parametrize("event", SunEvent.__members__.values())
def test_where_the_sun_rises_every_day_no_day_lacks_an_event_or_has_another_days(
    where: Place, event: SunEvent
) -> None:
    if where.latitude_deg > 60 and event in (SunEvent.DAWN, SunEvent.DUSK):
        pytest.skip("no night darker than civil twilight in June here")
    found = [sun_event(where, event, date(2026, 1, 1) + timedelta(days=n)) for n in range(365)]
    times = [moment for moment in found if moment is not None]
    steps_s = [(after - before).total_seconds() for before, after in pairwise(times)]

    assert len(times) == 365
    assert all(abs(step_s - 86_400) <= 600 for step_s in steps_s)
    zone = ZoneInfo(where.timezone)
    assert all(abs((at.astimezone(zone).date() - date(2026, 1, 1)).days - n) <= 1 for n, at in enumerate(times))


@pytest.mark.parametrize("row", [row for row in TABLE if not row["events"]], ids=lambda row: row["place"])
def test_where_the_sun_does_not_rise_or_set_there_is_no_event(row: dict) -> None:  # type: ignore[type-arg]
    for event in KINDS.values():
        assert sun_event(place(row), event, date.fromisoformat(str(row["date"]))) is None


@pytest.mark.parametrize(
    ("event", "altitude_deg"),
    [(SunEvent.SUNRISE, -0.8333), (SunEvent.SUNSET, -0.8333), (SunEvent.DAWN, -6.0), (SunEvent.DUSK, -6.0)],
)
@pytest.mark.parametrize("day", [date(2026, 3, 20), date(2026, 6, 21), date(2026, 12, 21)])
@pytest.mark.parametrize("where", [Place("Europe/Lisbon", 38.72, -9.14), Place("Australia/Sydney", -33.87, 151.21)])
def test_at_the_event_the_sun_stands_where_the_definition_says(
    where: Place, day: date, event: SunEvent, altitude_deg: float
) -> None:
    """A second opinion: the altitude by pvlib at our minute; the sun moves up to a quarter degree a minute."""
    found = sun_event(where, event, day)
    assert found is not None
    moments = DatetimeIndex([found - timedelta(seconds=90), found + timedelta(seconds=90)])
    altitudes = list(spa_python(moments, where.latitude_deg, where.longitude_deg)["elevation"])

    assert min(altitudes) <= altitude_deg <= max(altitudes)
