"""What people measure in the nutrient solution: EC at 25 C, pH, temperature."""

import re

from waaler.settings.units import NUMBER, UnitError

__all__ = ["ec_ms_per_cm", "ph"]

MS_PER_CM = {"mS/cm": 1.0, "dS/m": 1.0, "uS/cm": 1e-3, "µS/cm": 1e-3, "μS/cm": 1e-3, "S/m": 10.0}
PPM_PER_MS = {"ppm500": 500.0, "ppm640": 640.0, "ppm700": 700.0}
"""Meters turn conductivity into parts per million by one of three factors; a bare `ppm` does not say which.

Common practice, no source.
"""

EXAMPLE = "write 1.8 mS/cm, 1800 uS/cm or 900 ppm500"


def ec_ms_per_cm(text: str) -> float:
    """Conductivity at 25 C in mS/cm, of `1.8 mS/cm`, `1.8 dS/m`, `1800 uS/cm` or `900 ppm500`. Raises UnitError."""
    match = re.fullmatch(rf"\s*({NUMBER})\s*([A-Za-zµμ]+(?:/c?m)?\d*)?\s*", text[:80])
    if match is None:
        raise UnitError(f"'{text[:40]}' is no conductivity", EXAMPLE)
    number, unit = float(match[1].replace(",", ".")), match[2]
    if unit is None:
        raise UnitError(f"{match[1]} has no unit", EXAMPLE)
    if unit == "ppm":
        raise UnitError("ppm has three scales", "write ppm500, ppm640 or ppm700, as the meter's leaflet says")
    if unit in PPM_PER_MS:
        return number / PPM_PER_MS[unit]
    if unit not in MS_PER_CM:
        raise UnitError(f"'{unit}' is no unit of conductivity", EXAMPLE)
    return number * MS_PER_CM[unit]


def ph(text: str) -> float:
    """A pH, 0 to 14. Raises UnitError."""
    if re.fullmatch(NUMBER, text.strip()[:80]):
        value = float(text.strip().replace(",", "."))
        if 0 <= value <= 14:
            return value
    raise UnitError(f"'{text[:40]}' is no pH", "write a number from 0 to 14, such as 5.9")
