"""Thermometers on the kernel's 1-Wire bus: it does the protocol, this reads its file."""

from pathlib import Path

from waaler.bed.wiring import ThermometerInput

__all__ = ["POWER_ON_C", "Thermometer"]

BUS = Path("/sys/bus/w1/devices")
POWER_ON_C = 85.0
"""What such a chip reads before its first conversion: no reading. Source: its data sheet (from memory)."""


class Thermometer:
    """folder: of the bus; a simulated one in tests."""

    def __init__(self, thermometer: ThermometerInput, folder: Path = BUS) -> None:
        self._path = folder / thermometer.device / "temperature"

    def read(self) -> float | None:
        """Degrees Celsius; None if the chip does not answer. A read takes up to a second."""
        try:
            celsius = int(self._path.read_text()) / 1000
        except (OSError, ValueError):
            return None
        return None if celsius == POWER_ON_C else celsius
