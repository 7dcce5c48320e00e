"""What is wired to the Pi: pins by their GPIO numbers, and the probes."""

from dataclasses import dataclass
from enum import StrEnum

from waaler.bed.scale import Scale

__all__ = [
    "AnalogDevice", "AnalogInput", "ButtonPin", "ConverterKind", "FloatPin", "FlowPin", "LevelFloat", "OutputPin",
    "Pull", "PumpPins", "RelayPin", "SensedPin", "ThermometerInput", "Wiring",
]  # fmt: skip


class Pull(StrEnum):
    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class RelayPin:
    """energised_by_high: False for the common boards whose relay is energised by a low level."""

    gpio: int
    energised_by_high: bool = True


@dataclass(frozen=True, slots=True)
class FloatPin:
    """A float switch between the pin and ground (pull up) or 3.3 V (pull down).

    closed_is_good: closed means all is well, so that a broken wire reads as bad. For `tray_wet`, which only
    advises, closed means wet.
    """

    gpio: int
    pull: Pull = Pull.UP
    closed_is_good: bool = True


@dataclass(frozen=True, slots=True)
class FlowPin:
    """A flow meter that gives pulses. normal_l_per_min: what it shows while the pump runs as it should."""

    gpio: int
    pulses_per_l: float
    normal_l_per_min: float
    pull: Pull = Pull.UP


@dataclass(frozen=True, slots=True)
class SensedPin:
    """An isolated contact that is closed while the pump's supply behind the last relay is live."""

    gpio: int
    pull: Pull = Pull.UP


@dataclass(frozen=True, slots=True)
class LevelFloat:
    """A float switch in the sump, closed while water lifts it. at_l: the volume at which it turns."""

    gpio: int
    at_l: float
    pull: Pull = Pull.UP


@dataclass(frozen=True, slots=True)
class OutputPin:
    """A status light or a buzzer. on_is_high: the level that switches it on."""

    gpio: int
    on_is_high: bool = True


@dataclass(frozen=True, slots=True)
class ButtonPin:
    """A push-button, closed while it is pressed."""

    gpio: int
    pull: Pull = Pull.UP


class ConverterKind(StrEnum):
    """The chip that turns a voltage into counts."""

    SPI = "spi"
    """Ten bits, of the MCP3008 family."""
    I2C = "i2c"
    """Sixteen bits with a sign, of the ADS1115 family: single-ended, so half of them."""

    @property
    def full_counts(self) -> int:
        return 1023 if self is ConverterKind.SPI else 32_767


@dataclass(frozen=True, slots=True)
class AnalogInput:
    """A channel of a converter. address: of the chip on the I2C bus."""

    channel: int
    converter: ConverterKind = ConverterKind.SPI
    address: int = 0x48


@dataclass(frozen=True, slots=True)
class AnalogDevice:
    """A sensor that gives a voltage, and what its counts mean.

    For a moisture probe: percent of the calibrated span, 0 in air, 100 at container capacity.
    """

    name: str
    source: AnalogInput
    scale: Scale


@dataclass(frozen=True, slots=True)
class ThermometerInput:
    """A thermometer on the kernel's 1-Wire bus. device: its name there, such as `28-0316a2795bff`."""

    name: str
    device: str


@dataclass(frozen=True, slots=True)
class PumpPins:
    """The pins that the guard alone opens. cutoff: a second relay in series."""

    relay: RelayPin
    cutoff: RelayPin | None = None
    sump_low: FloatPin | None = None
    tray_high: FloatPin | None = None
    flow: FlowPin | None = None
    sensed: SensedPin | None = None


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything on pins. Without a relay only the simulation can run. cutoff: a second relay in series."""

    relay: RelayPin | None = None
    cutoff: RelayPin | None = None
    sump_low: FloatPin | None = None
    tray_high: FloatPin | None = None
    tray_wet: FloatPin | None = None
    flow: FlowPin | None = None
    sensed: SensedPin | None = None
    probes: tuple[AnalogDevice, ...] = ()
    thermometers: tuple[ThermometerInput, ...] = ()
    lights: tuple[AnalogDevice, ...] = ()
    levels: tuple[AnalogDevice, ...] = ()
    currents: tuple[AnalogDevice, ...] = ()
    sump_floats: tuple[LevelFloat, ...] = ()
    status_light: OutputPin | None = None
    buzzer: OutputPin | None = None
    button: ButtonPin | None = None

    @property
    def pump_pins(self) -> PumpPins | None:
        """What the guard opens; None without a relay."""
        if self.relay is None:
            return None
        return PumpPins(self.relay, self.cutoff, self.sump_low, self.tray_high, self.flow, self.sensed)

    @property
    def needs_i2c(self) -> bool:
        """Whether something is wired to the I2C bus."""
        return any(device.source.converter is ConverterKind.I2C for device in self.analog)

    @property
    def analog(self) -> tuple[AnalogDevice, ...]:
        """Everything on a converter."""
        return (*self.probes, *self.lights, *self.levels, *self.currents)

    @property
    def can_announce(self) -> bool:
        """Whether somebody at the bed is told of a start."""
        return self.status_light is not None or self.buzzer is not None
