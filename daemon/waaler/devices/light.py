"""A light sensor on a channel of the SPI converter."""

from statistics import median
from warnings import catch_warnings, simplefilter

from gpiozero import MCP3008, SPISoftwareFallback
from gpiozero.pins import Factory
from gpiozero.pins.mock import MockFactory

from waaler.bed.wiring import LightInput

__all__ = ["LightSensor"]

SAMPLES = 5
FULL_COUNTS = 1023


class LightSensor:
    """The median of a few samples in W/m2. Darkness is a reading; the highest count is none: a broken wire."""

    def __init__(self, light: LightInput, factory: Factory) -> None:
        self._light = light
        with catch_warnings():
            if isinstance(factory, MockFactory):
                simplefilter("ignore")  # mock lines have no hardware SPI
            else:
                simplefilter("error", SPISoftwareFallback)
            self._device = MCP3008(channel=light.channel, pin_factory=factory)

    def read(self) -> float | None:
        """None if the converter does not answer."""
        try:
            counts = float(median(self._device.raw_value for _ in range(SAMPLES)))
        except OSError:
            return None
        return self._light.full_w_per_m2 * counts / FULL_COUNTS if counts < FULL_COUNTS else None
