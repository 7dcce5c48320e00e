"""The kinds of values in the file: each is read from the scalar's own text, and says what to write instead."""

import re
from collections.abc import Callable
from datetime import date
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from pydantic import BeforeValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from waaler.bed.header import what_stands_at
from waaler.plan.types import ClockMoment, Moment, SunEvent, SunMoment
from waaler.settings.solution import ec_ms_per_cm, ph
from waaler.settings.units import (
    AREA,
    CURRENT,
    DURATION,
    FLOW,
    IRRADIANCE,
    LENGTH,
    LIGHT_SUM,
    MASS,
    SHARE,
    VOLUME,
    Dimension,
    UnitError,
    amount,
    temperature_c,
)
from waaler.visible import has_hidden

__all__ = [
    "FIRST_DAY",
    "LAST_DAY",
    "Acidity",
    "Area",
    "BedId",
    "Clock",
    "Conductivity",
    "Count",
    "Current",
    "Day",
    "Degrees",
    "Duration",
    "FlowRate",
    "Gpio",
    "Irradiance",
    "Length",
    "LightSum",
    "Mass",
    "Name",
    "Number",
    "OneWire",
    "PerPot",
    "Percent",
    "PlainText",
    "Temperature",
    "TimeZone",
    "Volume",
    "Water",
    "Weekday",
    "When",
]  # fmt: skip

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
SUN = re.compile(r"(dawn|sunrise|sunset|dusk)(?:\s*([+-])\s*(\S.*))?")
LONGEST_TEXT = 200
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2199, 12, 31)
LONGEST_DOSE_S = 7200.0
LARGEST_DOSE_L = 50.0


def _wrong(what: str, remedy: str) -> PydanticCustomError:
    """A fault; the remedy travels in its context."""
    return PydanticCustomError("fault", "{what}", {"what": what, "remedy": remedy})


def _text(value: Any, example: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise _wrong(
            "a value is missing here" if value is None else "this is not a single value", f"write {example}"
        )
    if len(value) > LONGEST_TEXT:
        raise _wrong(f"'{value[:20]}...' is too long to be read here", f"write {example}")
    return value.strip()


def _quantity(dimension: Dimension) -> BeforeValidator:
    def parse(value: Any) -> float:
        text = _text(value, dimension.example)
        try:
            return amount(text, dimension)
        except UnitError as problem:
            raise _wrong(problem.what, problem.remedy) from None

    return BeforeValidator(parse)


def _schema(description: str, example: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "description": description, "examples": [example]})


def _parsed(parse: Callable[[str], Any], example: str) -> BeforeValidator:
    def validate(value: Any) -> Any:
        text = _text(value, example)
        try:
            return parse(text)
        except UnitError as problem:
            raise _wrong(problem.what, problem.remedy) from None
        except (ValueError, KeyError, OSError):
            raise _wrong(f"'{text}' cannot be read here", f"write {example}") from None

    return BeforeValidator(validate)


def _count(text: str) -> int:
    if not re.fullmatch(r"\d{1,6}", text):
        raise ValueError
    return int(text)


def _number(text: str) -> float:
    if not re.fullmatch(r"[+-]?\d{1,6}(\.\d{1,12})?", text):
        raise ValueError
    return float(text)


def _zone(text: str) -> str:
    return ZoneInfo(text).key


def _bed_id(text: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9-]{0,30}", text):
        raise ValueError
    return text


def _name(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_ -]{0,30}", text):
        raise ValueError
    return text


def _plain(text: str) -> str:
    """It becomes a title, a subject or a header: one line, and nothing that steers a display."""
    if has_hidden(text):
        raise UnitError(
            f"'{text[:30]}' holds a line end or a character that shows nothing", "write plain text here"
        )
    return text


def _gpio(text: str) -> int:
    """`17`, or `pin 11` by its place on the header."""
    match = re.fullmatch(r"(pin )?(\d{1,2})", text)
    if not match or (not match[1] and int(match[2]) > 27):
        raise ValueError
    if not match[1]:
        return int(match[2])
    try:
        what = what_stands_at(int(match[2]))
    except IndexError:
        raise ValueError from None
    if isinstance(what, str):
        raise UnitError(f"pin {match[2]} of the header is {what}", "see `waaler pins` for what is free")
    return what


def _one_wire(text: str) -> str:
    if not re.fullmatch(r"[0-9a-f]{2}-[0-9a-f]{12}", text):
        raise ValueError
    return text


def _clock(text: str) -> ClockMoment:
    clock = CLOCK.fullmatch(text)
    if not clock:
        raise ValueError
    return ClockMoment(int(clock[1]) * 60 + int(clock[2]))


def _moment(text: str) -> Moment:
    if CLOCK.fullmatch(text):
        return _clock(text)
    sun = SUN.fullmatch(text)
    if not sun:
        raise ValueError
    offset_s = amount(sun[3], DURATION) if sun[2] else 0.0
    if offset_s > 12 * 3600:
        raise UnitError(f"an offset of {sun[3]} is too long", "write at most 12 h")
    return SunMoment(SunEvent(sun[1]), round(offset_s / 60) * (-1 if sun[2] == "-" else 1))


def _water(text: str) -> tuple[float, str]:
    """(seconds, "s") or (litres per pot, "L")."""
    words = text.split()
    if words[-2:] == ["per", "pot"]:
        litres = amount(" ".join(words[:-2]), VOLUME)
        if not 0.005 <= litres <= LARGEST_DOSE_L:
            raise UnitError(f"a dose of {text} makes no sense", f"write 5 mL to {LARGEST_DOSE_L:g} L per pot")
        return litres, "L"
    if "per" in words:
        raise ValueError
    seconds = amount(text, DURATION)
    if not 1 <= seconds <= LONGEST_DOSE_S:
        raise UnitError(f"watering for {text} makes no sense", f"write 1 s to {LONGEST_DOSE_S / 60:g} min")
    return seconds, "s"


def _per_pot(text: str) -> float:
    """Litres."""
    size, unit = _water(text)
    if unit != "L":
        raise ValueError
    return size


def _day(text: str) -> date:
    day = date.fromisoformat(text)
    if not FIRST_DAY <= day <= LAST_DAY:
        raise UnitError(f"{text} is no date of a plan", f"write one from {FIRST_DAY} to {LAST_DAY}")
    return day


def _weekday(text: Any) -> int:
    name = _text(text, "mon, tue, wed, thu, fri, sat or sun").lower()
    if name not in WEEKDAYS:
        raise _wrong(f"'{name}' is no day of the week", "write mon, tue, wed, thu, fri, sat or sun")
    return WEEKDAYS.index(name)


Duration = Annotated[float, _quantity(DURATION), _schema("a time", "4 min")]
Volume = Annotated[float, _quantity(VOLUME), _schema("a volume", "220 L")]
FlowRate = Annotated[float, _quantity(FLOW), _schema("a flow", "54 L/h")]
Current = Annotated[float, _quantity(CURRENT), _schema("a current", "5 mA")]
Length = Annotated[float, _quantity(LENGTH), _schema("a length", "1.2 m")]
Area = Annotated[float, _quantity(AREA), _schema("an area", "0.35 m2")]
Irradiance = Annotated[float, _quantity(IRRADIANCE), _schema("an irradiance", "1200 W/m2")]
LightSum = Annotated[float, _quantity(LIGHT_SUM), _schema("a sum of light", "1.2 MJ/m2")]
PerPot = Annotated[float, _parsed(_per_pot, "150 mL per pot"), _schema("a volume per pot", "150 mL per pot")]
Mass = Annotated[float, _quantity(MASS), _schema("a mass", "9.1 kg")]
Percent = Annotated[float, _quantity(SHARE), _schema("a share", "45 %")]
Temperature = Annotated[float, _parsed(temperature_c, "32 C or 90 F"), _schema("a temperature", "32 C")]
Conductivity = Annotated[
    float, _parsed(ec_ms_per_cm, "1.8 mS/cm or 900 ppm500"), _schema("a conductivity at 25 C", "1.8 mS/cm")
]
Acidity = Annotated[float, _parsed(ph, "a pH such as 5.9"), WithJsonSchema({"type": "number"})]
Count = Annotated[
    int, _parsed(_count, "a whole number such as 4"), WithJsonSchema({"type": "integer", "minimum": 0})
]
Number = Annotated[float, _parsed(_number, "a number such as 820"), WithJsonSchema({"type": "number"})]
Degrees = Annotated[float, _parsed(_number, "degrees such as 47.26"), WithJsonSchema({"type": "number"})]
Gpio = Annotated[
    int,
    _parsed(_gpio, "a GPIO number from 0 to 27, or its place such as `pin 11`"),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 0, "maximum": 27},
                {"type": "string", "pattern": "^pin [0-9]{1,2}$"},
            ]
        }
    ),
]
OneWire = Annotated[
    str,
    _parsed(_one_wire, "a name as in /sys/bus/w1/devices, such as 28-0316a2795bff"),
    WithJsonSchema({"type": "string", "pattern": "^[0-9a-f]{2}-[0-9a-f]{12}$"}),
]
TimeZone = Annotated[str, _parsed(_zone, "a name such as Europe/Vienna"), _schema("a time zone", "Europe/Vienna")]
BedId = Annotated[
    str,
    _parsed(_bed_id, "small letters, digits and hyphens, a letter first, at most 31"),
    WithJsonSchema({"type": "string", "pattern": "^[a-z][a-z0-9-]{0,30}$"}),
]
Name = Annotated[str, _parsed(_name, "letters, digits, _ and -, a letter first"), _schema("a name", "morning")]
PlainText = Annotated[str, _parsed(_plain, "a short text"), _schema("free text", "Terrace bed")]
When = Annotated[
    Any,
    _parsed(_moment, '"06:30" or "sunset - 1 h 30 min"'),
    _schema("a time of day or of the sun", "sunrise + 30 min"),
]
Clock = Annotated[ClockMoment, _parsed(_clock, '"06:30"'), _schema("a time of day", "22:00")]
Water = Annotated[Any, _parsed(_water, "3 min or 250 mL per pot"), _schema("a time, or a volume per pot", "3 min")]
Day = Annotated[
    date,
    _parsed(_day, "a date such as 2026-05-01"),
    WithJsonSchema({"type": "string", "format": "date"}),
]
Weekday = Annotated[int, BeforeValidator(_weekday), WithJsonSchema({"enum": list(WEEKDAYS)})]
