"""Files that between them have every key, and for each key other values that are as valid."""

import re
from collections.abc import Iterator
from copy import deepcopy
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import yaml
from pydantic.fields import FieldInfo

from waaler.settings.key_paths import section_of, walk
from waaler.settings.models import BedFile
from waaler.settings.section import Section

__all__ = [
    "FILES",
    "Doc",
    "Place",
    "field_of",
    "file_text",
    "others",
    "places_of",
    "read_name",
    "with_value",
    "write_named_files",
]

DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)

Doc = dict[str, Any]
Place = tuple[str | int, ...]

NORMALS = [["4 C", "-3 C"], ["7 C", "-2 C"], ["12 C", "2 C"], ["16 C", "6 C"], ["21 C", "10 C"], ["25 C", "14 C"],
           ["27 C", "16 C"], ["27 C", "15 C"], ["22 C", "11 C"], ["16 C", "7 C"], ["9 C", "2 C"], ["4 C", "-1 C"]]  # fmt: skip

WHOLE: Doc = {
    "bed": "terrace",
    "title": "Terrace",
    "place": {"timezone": "Europe/Lisbon", "latitude": "38.72", "longitude": "-9.14"},
    "clock": "trusted",
    "plan": [
        {"window": "early", "cycles": "3", "between": ["sunrise + 30 min", "12:00"], "water": "250 mL per pot",
         "on": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], "from": "2026-04-01", "until": "2026-10-31",
         "fallback": ["06:30", "11:00"],
         "on_demand": {"probe": "pot_3", "below": "70 %", "between": ["06:30", "12:00"], "least_gap": "40 min",
                       "at_most": "5"}},
        {"window": "noon", "every": "45 min", "between": ["12:30", "14:00"], "water": "2 min",
         "on_demand": {"light": "roof", "per_light": "1.2 MJ/m2", "between": ["12:30", "14:00"]}},
        {"window": "late", "at": ["15:00", "18:30"], "water": "90 s",
         "on_demand": {"per_demand": "150 mL per pot", "thermometer": "air", "between": ["15:00", "18:30"]}},
    ],
    "hot_day": {"above": "32 C", "extra_cycles": "2"},
    "sensing": {
        "probes": [{"name": "pot_3", "channel": "0", "converter": "i2c", "address": "0x48", "wet_above": "93 %",
                    "dry_below": "60 %", "most_change": "25 %",
                    "calibration": {"dry": "820", "wet": "380", "points": [["600", "50 %"]]}},
                   {"name": "pot_9", "channel": "1", "converter": "i2c", "address": "0x49"}],
        "thermometers": [{"name": "air", "device": "28-0316a2795bff"}, {"name": "leaf", "device": "28-0316a2795bfe"}],
        "lights": [{"name": "roof", "channel": "1", "converter": "spi", "address": "0x48", "full": "1200 W/m2"},
                   {"name": "wall", "channel": "3", "converter": "i2c", "address": "0x4a", "full": "1200 W/m2"}],
        "levels": [{"name": "level", "channel": "2", "converter": "spi", "address": "0x48",
                    "points": [["100", "20 L"], ["900", "280 L"]]}],
        "currents": [{"name": "amps", "channel": "3", "converter": "spi", "address": "0x48",
                      "points": [["0", "0 A"], ["900", "5 A"]]}],
        "skip_at_most": "2", "hot_above": "29 C", "extend_at_most": "40 %", "least_share": "60 %",
        "drained_after": "25 min", "extra_after": "40 min",
    },
    "solution": {"ec": ["1.4 mS/cm", "2.4 mS/cm"], "ph": ["5.5", "6.3"], "temperature": ["12 C", "26 C"]},
    "limits": {"longest_run": "6 min", "most_per_day": "90 min", "longest_gap": "20 h", "rest": "4 min",
               "settle_sump": "15 min", "settle_tray": "12 min", "run_back": "18 min", "confirm": "0.4 s",
               "start_delay": "90 s", "most_starts": "5", "flow_within": "40 s", "line_drain": "70 s"},
    "layout": {
        "pots": "14", "outlet_flow": "54 L/h", "line_holds": "1.5 L",
        "sump": {"brim": "285 L", "full": "260 L", "low": "45 L", "empty": "25 L"},
        "drink_per_pot": "1.2 L", "evaporates": "1 L",
        "pump": {"free_flow": "1400 L/h", "shut_off": "2.2 m"},
        "lift": "45 cm",
        "hose": {"length": "1.5 m", "bore": "16 mm", "fittings": "2"},
        "line": {"bore": "16 mm", "spacing": "40 cm", "friction": "darcy-weisbach", "water": "18 C"},
        "tube": {"bore": "4 mm", "length": "15 cm", "end": "5 cm", "fittings": "2.5"},
        "each": [{"outlet": "3", "bore": "5 mm", "length": "20 cm", "end": "6 cm", "opening": "80 %", "pot": "pot_3"}],
        "tray": {"length": "3 m", "width": "1.2 m", "drain": "40 mm", "standing": "1 cm", "rim": "9 cm"},
    },
    "media": [{"name": "pumice", "points": [["0 cm", "70 %"], ["10 cm", "42 %"], ["50 cm", "33 %"], ["100 cm", "30 %"]]},
              {"name": "lava", "points": [["0 cm", "60 %"], ["10 cm", "22 %"], ["90 cm", "12 %"]]}],
    "pots": [{"count": "9", "nominal": "19 L", "filled": "90 %", "bag": "100 L", "crop": "aubergine",
              "plants_per_pot": "2", "outlets": "1"},
             {"count": "3", "height": "25 cm", "width": "30 cm", "crop": "beans", "medium": "pumice"},
             {"count": "2", "nominal": "19 L", "drained": "9.1 kg", "droops": "7.4 kg"}],
    "crops": [{"name": "aubergine", "planted": "2026-05-10", "canopy": "0.5 m2",
               "transplant": "0.02 m2", "ground": "1 m2", "height": "0.8 m",
               "stages": ["30", "45", "40", "25"], "kc": ["1.05", "0.9"], "ec": ["1.8", "2.6"]},
              {"name": "beans", "planted": "2026-05-10", "canopy": "0.2 m2",
               "stages": ["30", "45", "40", "25"], "kc": ["1.05", "0.9"], "ec": ["1.8", "2.6"]},
              {"name": "kale", "planted": "2026-05-10", "canopy": "0.2 m2",
               "stages": ["30", "45", "40", "25"], "kc": ["1.05", "0.9"]}],
    "shelter": "net",
    "weather": {"normals": NORMALS, "elevation": "300 m", "transmission": "70 %"},
    "feed": {"ec": "2.1", "water": "0.4", "uptake": "65 %"},
    "top_up": {"tank": "100 L", "holds": "water"},
    "away_days": "9",
    "pump": {"supply": "extra-low voltage"},
    "pins": {
        "relay": {"gpio": "17", "energised_by": "high", "draws": "5 mA"},
        "cutoff_relay": {"gpio": "24", "energised_by": "high", "draws": "5 mA"},
        "sump_low": {"gpio": "27", "pull": "up", "closed": "good"},
        "tray_high": {"gpio": "22", "pull": "up", "closed": "good"},
        "tray_wet": {"gpio": "23", "pull": "up"},
        "flow_meter": {"gpio": "5", "pulses_per_litre": "450", "normal": "12 L/min", "pull": "up"},
        "supply_sensed": {"gpio": "25", "pull": "up"},
        "sump_floats": [{"gpio": "6", "at": "120 L", "pull": "up"}],
        "status_light": {"gpio": "12", "on_by": "high", "draws": "5 mA"},
        "buzzer": {"gpio": "16", "on_by": "high", "draws": "8 mA"},
        "button": {"gpio": "20", "pull": "up"},
    },
    "no_sump_float": "accepted", "no_tray_float": "accepted", "broken_wire_unsafe": "accepted",
    "not_commissioned": "accepted",
    "contacts": [{"name": "Ann", "call": "+351 00 000", "mail": "ann@example.org"}, {"name": "Bor"}],
    "quiet_hours": ["22:00", "06:30"],
    "care": {"clean_after": "30 h", "clean_after_starts": "400", "renew_after": "20 d"},
    "card": {"plug": "white tape", "shut_off": "breaker 4", "by_hand": "lift the float"},
    "mqtt": {"host": "localhost", "port": "8883", "user": "terrace", "password_file": "broker-password",
             "ca_file": "ca.pem", "certificate_file": "own.pem", "key_file": "own.key", "plain": "accepted",
             "commands": "on"},
    "mail": {"host": "mail.example.org", "port": "587", "security": "starttls", "user": "bed",
             "password_file": "mail-password", "ca_file": "ca.pem", "from": "bed@example.org", "least": "soon"},
    "webhooks": [{"name": "board", "url": "https://board.example.org/in", "least": "soon"},
                 {"name": "other", "url_file": "hook-url"}],
    "push": {"urls_file": "push-urls", "least": "urgent"},
    "heartbeat": {"url": "https://monitor.example.org/1", "every": "5 min"},
    "good_day": "20:30",
    "metrics_file": "bed.prom",
}  # fmt: skip

HEADER = {"length": "2 m", "bore": "16 mm", "fittings": "1"}
LEG = {"outlets": "7", "spacing": "40 cm", "first": "50 cm", "bore": "16 mm", "fittings": "1", "header": HEADER,
       "back": "4 m"}  # fmt: skip


def _variant(**changes: Any) -> Doc:
    """The whole file with other sections; `layout_sump` stands for layout.sump, None takes one out."""
    doc = deepcopy(WHOLE)
    for path, value in changes.items():
        *above, last = path.split("__")
        section = doc
        for name in above:
            section = section[name]
        if value is None:
            section.pop(last)
        else:
            section[last] = value
    return doc


DEPTHS = {"brim": "48 cm", "full": "40 cm", "low": "8 cm", "empty": "4 cm"}
POINTS = [["0 cm", "0 L"], ["20 cm", "120 L"], ["50 cm", "320 L"]]
PUMP_POINTS = [["0 L/h", "2.2 m"], ["700 L/h", "1.6 m"], ["1300 L/h", "0.3 m"]]
FEW_PINS = {"header": "40", "relay": {"gpio": "17"}, "sump_low": {"gpio": "27"}, "tray_high": {"gpio": "22"}}

FILES = (
    WHOLE,
    _variant(layout__sump={"floor": ["1 m", "0.6 m"], **DEPTHS}, heartbeat={"url_file": "beat-url"}),
    _variant(layout__sump={"points": POINTS, **DEPTHS}, layout__pump={"points": PUMP_POINTS}),
    _variant(
        layout__line={"legs": [LEG, {"outlets": "7"}], "friction": "hazen-williams", "c": "140"},
        layout__pots=None,
        pots=None,
    ),
    _variant(layout__pots=None, weather={"csv": "days.csv", "elevation": "300 m"}),
    _variant(pins=FEW_PINS),
    _variant(pots=None),
)
"""The first has what can stand together; each other one has keys that exclude some of it."""

TABLES = {
    "days.csv": "date,t_max_c,t_min_c,wind_m_per_s\n2026-06-21,27,15,2\n",
    "days.csv2": "date,t_max_c,t_min_c,wind_m_per_s\n2026-06-21,36,22,2\n",
}


OTHER_NAMES = {"aubergine": "beans", "pumice": "lava", "pot_3": "pot_9", "roof": "wall", "air": "leaf"}
FREE_GPIO = ("26", "13", "21", "18")


def write_named_files(folder: Path) -> None:
    """What the files above name, and what they would name."""
    for name, text in TABLES.items():
        (folder / name).write_text(text)
    for name in ("broker-password", "broker-password2"):
        (folder / name).write_text("s3cret\n")


def file_text(doc: Doc) -> str:
    return yaml.dump(doc, Dumper=DUMPER, sort_keys=False, allow_unicode=True)


def places_of(doc: Doc, key: str) -> Iterator[Place]:
    """Where a file has a key of the schema: `plan[].every` in each window that has it."""
    return _found(doc, key.split("."))


def _found(value: Any, parts: list[str]) -> Iterator[Place]:
    if not parts:
        yield ()
        return
    name, rest = parts[0].removesuffix("[]"), parts[1:]
    if not isinstance(value, dict) or name not in value:
        return
    items = enumerate(value[name]) if parts[0].endswith("[]") else ((None, value[name]),)
    for n, item in items:
        for below in _found(item, rest):
            yield (name, *below) if n is None else (name, n, *below)


def read_name(doc: Doc, place: Place) -> str:
    """The place as a person names it: `plan.early.cycles`, `layout.line.legs.1.bore`."""
    words, value = [], doc
    for part in place:
        inner = value[part]  # type: ignore[index]
        if isinstance(part, int):
            named = [inner[key] for key in ("window", "name", "outlet") if key in inner]
            words.append(str(named[0] if named else part + 1))
        else:
            words.append(part)
        value = inner
    return ".".join(words)


def with_value(doc: Doc, place: Place, value: Any) -> Doc:
    """The file with another value there; None takes the key out."""
    new = deepcopy(doc)
    section: Any = new
    for part in place[:-1]:
        section = section[part]
    if value is None:
        section.pop(place[-1])
    else:
        section[place[-1]] = value
    return new


def field_of(key: str, section: type[Section] = BedFile) -> FieldInfo:
    """The field of the schema that a key is."""
    name, _, rest = key.partition(".")
    name = name.removesuffix("[]")
    field = next(found for own, found in section.model_fields.items() if name in (own, found.alias))
    if not rest:
        return field
    inner = section_of(field)
    assert inner is not None
    return field_of(rest, inner)


def value_at(doc: Doc, place: Place) -> Any:
    value: Any = doc
    for part in place:
        value = value[part]
    return value


def others(key: str, value: Any) -> Iterator[Any]:
    """Other values that might be valid at this key; None, at last, leaves it out."""
    if isinstance(value, str) and value in OTHER_NAMES:
        yield OTHER_NAMES[value]
    field = field_of(key)
    choices = [one for thing in walk(field.annotation) if get_origin(thing) is Literal for one in get_args(thing)]
    yield from (choice for choice in choices if choice != value)
    if key.endswith("gpio"):
        yield from FREE_GPIO
    elif not choices:
        yield from (other for other in _others(value) if other != value)
    yield None


def _others(value: Any) -> Iterator[Any]:
    if isinstance(value, list):
        for n, item in enumerate(value):
            yield from ([*value[:n], other, *value[n + 1 :]] for other in _others(item))
        if len(value) > 1:
            yield value[:-1]
        return
    if re.fullmatch(r"\d{4}-\d\d-\d\d", value):
        yield str(date.fromisoformat(value) + timedelta(days=20))
        return
    if re.fullmatch(r"\d\d:\d\d", value):
        yield f"{value[:-1]}5"
        return
    found = re.fullmatch(r"(\D*)(\d+(?:\.\d+)?)(.*)", value)
    if found is not None and not value.startswith("28-"):
        before, number, after = found.groups()
        size = float(number)
        sizes = (size + 1, size - 1, size + 4, size * 1.2, size * 0.9, size + 0.1)
        yield from (f"{before}{size:.4g}{after}" for size in sizes if size >= 0)
    yield from ("Europe/Berlin",) if "/" in value else ()
    yield f"{value[:-1]}a" if value.startswith("28-") else f"{value}2"
