"""What can go wrong at a bed, by name: each fault with a beginning and an end."""

from dataclasses import dataclass

__all__ = ["FAULTS", "Fault", "UnknownFault", "named"]

FAULTS = {
    "blocked-drain": "roots or fines close the tray's drain",
    "slow-drain": "the drain lets through a tenth of what it did",
    "outlet-clogged": "the last pot's outlet gives a tenth of what it did",
    "leak": "the sump loses two litres an hour",
    "tube-off": "a third of what the pump lifts runs onto the floor",
    "dead-pump": "the pump does not turn: plug, fuse, intake",
    "welded-relay": "the pump runs whatever the relay is told",
    "welded-cutoff": "the cut-off relay's contact is welded",
    "meter-dead": "the flow meter gives no pulses",
    "run-back-turns-meter": "the line that runs back turns the flow meter for most of a minute",
    "refill": "somebody pours sixty litres into the sump at the beginning",
    "sump-float-stuck-good": "the sump's float reads good whatever the level",
    "sump-float-stuck-bad": "the sump's float reads bad: stuck, or a broken wire",
    "sump-float-chatters": "the sump's float chatters at its mark once a run has lifted twelve litres",
    "sump-float-not-read": "the sump float's line gives an error",
    "tray-float-stuck-good": "the tray's float reads good whatever the level",
    "tray-float-stuck-bad": "the tray's float reads bad: stuck, or a broken wire",
    "tray-float-not-read": "the tray float's line gives an error",
    "probe-dead": "the moisture probes give no reading",
    "probe-wire-broken": "the probes' wires are broken: the converter gives its highest count",
    "probe-stuck": "the moisture probes stand still",
    "probe-in-wet-pot": "the probes sit in a dead plant's pot, which stays wet",
    "probe-reads-dry": "the probes read dry whatever the media",
    "probe-jumps": "the probes' readings jump about",
    "probe-noisy": "the probes' readings scatter by several per cent",
    "probe-drifts": "the probes read drier by one per cent more each day",
    "probe-slow": "the probes follow the media an hour late",
    "light-dead": "the light sensors give no reading",
    "puddle": "a puddle keeps the tray's lowest spot wet",
    "power-cut": "the Pi and the pump have no power",
    "power-flaps": "power comes and goes every three minutes",
    "no-clock": "after the next boot nobody knows the time",
    "clock-back": "the wall clock is set back an hour at the beginning",
    "clock-ahead": "the wall clock is set ahead an hour at the beginning",
    "disk-full": "the records take nothing",
    "database-lost": "at the next boot the records are gone",
    "messages-lost": "one message in five between decisions and guard gets lost",
    "messages-late": "messages between decisions and guard come up to eight seconds late",
    "messages-double": "every message between decisions and guard comes twice",
}
"""Common practice, no source."""


class UnknownFault(ValueError):
    """No fault of this name."""


@dataclass(frozen=True, slots=True)
class Fault:
    """starts_s, ends_s: seconds from the beginning of the rehearsal."""

    name: str
    starts_s: float
    ends_s: float

    def __post_init__(self) -> None:
        if self.name not in FAULTS:
            raise UnknownFault(f"no fault is called {self.name}")


def named(faults: tuple[Fault, ...], now_s: float) -> frozenset[str]:
    """The names of the faults that are there now."""
    return frozenset(fault.name for fault in faults if fault.starts_s <= now_s < fault.ends_s)
