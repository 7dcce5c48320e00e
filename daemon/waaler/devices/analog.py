"""Sensors that give a voltage, on a converter of the MCP3008 (SPI) or the ADS1115 family (I2C)."""

import time
from collections.abc import Callable
from statistics import median
from typing import Protocol
from warnings import catch_warnings, simplefilter

from gpiozero import MCP3008, SPISoftwareFallback
from gpiozero.pins import Factory
from gpiozero.pins.mock import MockFactory

from waaler.bed.wiring import AnalogDevice, AnalogInput, ConverterKind

__all__ = ["AnalogSensor", "Channel", "I2cBus", "I2cChannel", "SpiChannel", "open_channel"]

SAMPLES = 5

# registers and bits of the ADS1115; source: its data sheet (from memory)
CONVERSION, CONFIG = 0x00, 0x01
START_ONCE, READY = 0x80, 0x80
SINGLE_ENDED = 0x40
"""Plus the channel in bits 4 and 5: this input against ground."""
GAIN_4_096_V, ONCE = 0x02, 0x01
RATE_475_NO_ALARM = 0xC3
WAIT_S, MOST_WAITS = 0.001, 20
"""A conversion takes some 2 ms at 475 a second."""


class Channel(Protocol):
    def counts(self) -> float | None:
        """The median of a few samples; None if the converter does not answer as one that lives."""

    def close(self) -> None: ...


class I2cBus(Protocol):
    """What is used of an smbus2 bus. Both raise OSError where no chip answers."""

    def write_i2c_block_data(self, address: int, register: int, data: list[int], /) -> None: ...

    def read_i2c_block_data(self, address: int, register: int, length: int, /) -> list[int]: ...


class SpiChannel:
    """A converter that is dead or unplugged gives 0 or full scale: that is no reading.

    is_zero_read: 0 is one all the same, as of a light sensor by night.
    """

    def __init__(self, channel: int, factory: Factory, is_zero_read: bool = False) -> None:
        self._is_zero_read = is_zero_read
        with catch_warnings():
            if isinstance(factory, MockFactory):
                simplefilter("ignore")  # mock lines have no hardware SPI
            else:
                simplefilter("error", SPISoftwareFallback)
            self._device = MCP3008(channel=channel, pin_factory=factory)

    def counts(self) -> float | None:
        """0 to 1023."""
        try:
            counts = float(median(self._device.raw_value for _ in range(SAMPLES)))
            return _plausible(counts, ConverterKind.SPI, self._is_zero_read)
        except OSError:
            return None

    def close(self) -> None:
        """gpiozero shares its software SPI between factories: one left open would be found by the next."""
        self._device.close()


class I2cChannel:
    """Measures once for each sample, up to 4.096 V, so that several channels share the chip."""

    def __init__(
        self,
        source: AnalogInput,
        bus: I2cBus,
        is_zero_read: bool = False,
        pause: Callable[[float], object] = time.sleep,
    ) -> None:
        self._source, self._bus, self._is_zero_read, self._pause = source, bus, is_zero_read, pause

    def counts(self) -> float | None:
        """0 to 32767, 0.125 mV each."""
        try:
            counts = float(median(self._sample() for _ in range(SAMPLES)))
            return _plausible(counts, ConverterKind.I2C, self._is_zero_read)
        except OSError:
            return None

    def close(self) -> None:
        """Nothing was claimed."""

    def _sample(self) -> int:
        mux = SINGLE_ENDED | self._source.channel << 4
        config = [START_ONCE | mux | GAIN_4_096_V | ONCE, RATE_475_NO_ALARM]
        self._bus.write_i2c_block_data(self._source.address, CONFIG, config)
        for _ in range(MOST_WAITS):
            self._pause(WAIT_S)
            if self._bus.read_i2c_block_data(self._source.address, CONFIG, 2)[0] & READY:
                high, low = self._bus.read_i2c_block_data(self._source.address, CONVERSION, 2)
                return int.from_bytes(bytes((high, low)), signed=True)
        raise OSError("the converter does not finish a conversion")


class AnalogSensor:
    """A channel's counts in the unit of its scale; the median of the last three reads, against single jumps."""

    def __init__(self, device: AnalogDevice, channel: Channel) -> None:
        self._device, self._channel = device, channel
        self._last: tuple[float, ...] = ()

    def counts(self) -> float | None:
        """As the converter gives them now."""
        return self._channel.counts()

    def close(self) -> None:
        self._channel.close()

    def read(self) -> float | None:
        """None as soon as the converter does not answer."""
        counts = self.counts()
        self._last = () if counts is None else (*self._last, counts)[-3:]
        return self._device.scale.value(median(self._last)) if self._last else None


def open_channel(source: AnalogInput, factory: Factory, i2c: I2cBus | None, is_zero_read: bool = False) -> Channel:
    """The channel of a converter; is_zero_read: no counts are a reading.

    Raises ValueError for one on a bus that was not opened.
    """
    if source.converter is ConverterKind.SPI:
        return SpiChannel(source.channel, factory, is_zero_read)
    if i2c is None:
        raise ValueError("the I2C bus was not opened")
    return I2cChannel(source, i2c, is_zero_read)


def _plausible(counts: float, kind: ConverterKind, is_zero_read: bool) -> float | None:
    if counts <= 0 and is_zero_read:
        return 0.0
    return counts if 0 < counts < kind.full_counts else None
