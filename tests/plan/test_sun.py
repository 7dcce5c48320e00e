"""The sun's times against NREL's solar position algorithm.

Source: tests/reference/sun_times.yaml, computed with pvlib 0.16.1. Tolerance: 60 s beside the rounding to whole
minutes of 30 s; 120 s above 60 degrees, where the sun grazes the horizon.
"""

from datetime import date, datetime, timedelta
from pathlib import Path

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
        found = sun_event(place(row), KINDS[event["kind"]], date.fromisoformat(str(row["date"])))

        assert found is not None
        assert abs((found - expected).total_seconds()) <= tolerance_s
        assert found.second == 0


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
