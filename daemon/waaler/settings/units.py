"""Quantities as growers write them, metric or US customary: `4 min`, `250 mL`, `29 gal`, `45 %`, `18 in`.

Factors are exact by definition: the international inch, foot and pound, the US gallon of 231 cubic inches.
Source: NIST Special Publication 811, appendix B.8 (from memory; the same figures stand in tests/reference).
"""

import re
from dataclasses import dataclass

__all__ = [
    "AREA",
    "CURRENT",
    "DURATION",
    "FLOW",
    "LENGTH",
    "MASS",
    "SHARE",
    "VOLUME",
    "Dimension",
    "UnitError",
    "amount",
    "temperature_c",
]

GALLON_L = 3.785411784
QUART_L = GALLON_L / 4
FLUID_OUNCE_L = GALLON_L / 128
CUBIC_FOOT_L = 28.316846592
POUND_KG = 0.45359237


class UnitError(ValueError):
    """what is wrong; remedy: what to write instead."""

    def __init__(self, what: str, remedy: str) -> None:
        self.what, self.remedy = what, remedy
        super().__init__(f"{what}; {remedy}")


@dataclass(frozen=True, slots=True)
class Dimension:
    """units: factor to the base unit by the unit's name as written. example: what to write."""

    name: str
    units: dict[str, float]
    example: str


DURATION = Dimension("a time", {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}, "4 min, 90 s or 1 h 30 min")
VOLUME = Dimension(
    "a volume",
    {
        "L": 1.0, "l": 1.0, "mL": 1e-3, "ml": 1e-3, "m3": 1000.0,
        "gal": GALLON_L, "qt": QUART_L, "fl oz": FLUID_OUNCE_L, "ft3": CUBIC_FOOT_L,
    },
    "220 L, 250 mL or 29 gal",
)  # fmt: skip
FLOW = Dimension(
    "a flow",
    {"L/min": 1.0, "L/h": 1 / 60, "mL/min": 1e-3, "gal/h": GALLON_L / 60, "gal/min": GALLON_L},
    "54 L/h or 14 gal/h",
)
LENGTH = Dimension(
    "a length", {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}, "1.2 m, 15 mm or 18 in"
)
AREA = Dimension("an area", {"m2": 1.0, "ft2": 0.09290304}, "0.35 m2 or 4 ft2")
IRRADIANCE = Dimension("an irradiance", {"W/m2": 1.0}, "1200 W/m2")
LIGHT_SUM = Dimension("a sum of light", {"MJ/m2": 1.0, "J/cm2": 0.01, "Wh/m2": 0.0036}, "1.2 MJ/m2")
CURRENT = Dimension("a current", {"mA": 1e-3, "A": 1.0}, "5 mA or 1.2 A")
MASS = Dimension("a mass", {"kg": 1.0, "g": 1e-3, "lb": POUND_KG, "oz": POUND_KG / 16}, "9.1 kg or 20 lb")
SHARE = Dimension("a share", {"%": 1.0}, "45 %")

LONGEST_TEXT = 80
NUMBER = r"[+-]?(?:\d+(?:[.,]\d+)?|\.\d+)"
PART = re.compile(rf"\s*({NUMBER})\s*([A-Za-z%][A-Za-z/ ]*(?:[23](?!\d))?)\s*")
TEMPERATURE = re.compile(rf"\s*({NUMBER})\s*°?\s*([CF])\s*")


def amount(text: str, dimension: Dimension) -> float:
    """The quantity in the dimension's base unit: seconds, litres, litres a minute, metres, per cent.

    Several parts are added (`1 h 30 min`). Raises UnitError.
    """
    text = _short(text)
    if re.fullmatch(NUMBER, text):
        raise UnitError(f"{text} has no unit", f"write {dimension.example}")
    total, end = 0.0, 0
    while end < len(text):
        match = PART.match(text, end)
        if match is None:
            raise UnitError(f"'{text}' is not {dimension.name}", f"write {dimension.example}")
        number, unit = float(match[1].replace(",", ".")), match[2].strip()
        if unit not in dimension.units:
            known = ", ".join(dimension.units)
            raise UnitError(
                f"'{unit}' is no unit of {dimension.name}", f"use one of {known}, as in {dimension.example}"
            )
        total += number * dimension.units[unit]
        end = match.end()
    if not text:
        raise UnitError(f"{dimension.name} is missing", f"write {dimension.example}")
    return total


def temperature_c(text: str) -> float:
    """Degrees Celsius of `32 C` or `90 F`. Raises UnitError."""
    match = TEMPERATURE.fullmatch(_short(text))
    if match is None:
        raise UnitError(f"'{text}' is not a temperature", "write 32 C or 90 F")
    value = float(match[1].replace(",", "."))
    return value if match[2] == "C" else (value - 32) / 1.8


def _short(text: str) -> str:
    """The text without spaces around it. Raises UnitError where it is longer than any quantity."""
    text = text.strip()
    if len(text) > LONGEST_TEXT:
        raise UnitError(f"'{text[:20]}...' is too long for a quantity", "write a number and its unit")
    return text
