"""What is wired to the Pi: pins by their GPIO numbers, and the probes."""

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["FloatPin", "ProbeInput", "Pull", "RelayPin", "Supply", "Wiring"]


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
class ProbeInput:
    """A moisture probe on a channel of the SPI converter (10 bit).

    dry_counts: in air. wet_counts: at container capacity, drained after a soak. None: never calibrated.
    """

    name: str
    channel: int
    dry_counts: float | None = None
    wet_counts: float | None = None


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything on pins. Without a relay only the simulation can run."""

    relay: RelayPin | None = None
    sump_low: FloatPin | None = None
    tray_high: FloatPin | None = None
    tray_wet: FloatPin | None = None
    probes: tuple[ProbeInput, ...] = ()
    supply: Supply = Supply.LOW_VOLTAGE
