"""Moisture probes on a ten-bit SPI converter of the MCP3008 family."""

from statistics import median
from warnings import catch_warnings, simplefilter

from gpiozero import MCP3008, SPISoftwareFallback
from gpiozero.pins import Factory
from gpiozero.pins.mock import MockFactory

from waaler.bed.wiring import ProbeInput

__all__ = ["MoistureProbe"]

SAMPLES = 5
FULL_COUNTS = 1023


class MoistureProbe:
    """The median of a few samples, in percent of the calibrated span.

    A converter that is dead or unplugged gives 0 or full scale: that is no reading.
    """

    def __init__(self, probe: ProbeInput, factory: Factory) -> None:
        self._probe = probe
        with catch_warnings():
            if isinstance(factory, MockFactory):
                simplefilter("ignore")  # mock lines have no hardware SPI
            else:
                simplefilter("error", SPISoftwareFallback)
            self._device = MCP3008(channel=probe.channel, pin_factory=factory)

    def counts(self) -> float:
        """Median counts, 0 to 1023."""
        return float(median(self._device.raw_value for _ in range(SAMPLES)))

    def read(self) -> float | None:
        """Percent moisture; None if the converter does not answer."""
        try:
            counts = self.counts()
        except OSError:
            return None
        return self._probe.percent(counts) if 0 < counts < FULL_COUNTS else None
