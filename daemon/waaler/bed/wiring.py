"""What is wired to the Pi: pins by their GPIO numbers, and the probes."""

from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "FloatPin", "FlowPin", "LightInput", "ProbeInput", "Pull", "RelayPin", "SensedPin", "Supply",
    "ThermometerInput", "Wiring",
]  # fmt: skip


class Pull(StrEnum):
    UP = "up"
    DOWN = "down"


class Supply(StrEnum):
    """What the pump runs on."""

    LOW_VOLTAGE = "extra-low voltage"
    MAINS = "mains"


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
class ProbeInput:
    """A moisture probe on a channel of the SPI converter (10 bit).

    dry_counts: in air. wet_counts: at container capacity, drained after a soak. None: never calibrated.
    """

    name: str
    channel: int
    dry_counts: float | None = None
    wet_counts: float | None = None

    @property
    def is_calibrated(self) -> bool:
        return self.dry_counts is not None and self.wet_counts is not None and self.dry_counts != self.wet_counts

    def percent(self, counts: float) -> float:
        """Moisture in percent of the calibrated span; without a calibration, of the converter's whole span."""
        dry, wet = self.dry_counts, self.wet_counts
        if dry is None or wet is None or dry == wet:
            dry, wet = 1023.0, 0.0
        return 100 * (counts - dry) / (wet - dry)


@dataclass(frozen=True, slots=True)
class ThermometerInput:
    """A thermometer on the kernel's 1-Wire bus. device: its name there, such as `28-0316a2795bff`."""

    name: str
    device: str


@dataclass(frozen=True, slots=True)
class LightInput:
    """A light sensor on a channel of the SPI converter. full_w_per_m2: what its highest count stands for."""

    name: str
    channel: int
    full_w_per_m2: float


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
    probes: tuple[ProbeInput, ...] = ()
    thermometers: tuple[ThermometerInput, ...] = ()
    lights: tuple[LightInput, ...] = ()
    supply: Supply = Supply.LOW_VOLTAGE
