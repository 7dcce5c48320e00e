"""What the keeper opens before any thread begins: the file in force, and what advises on pins."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import structlog

from waaler.bed.wiring import PumpPins
from waaler.devices.bench import Bench, open_bench
from waaler.devices.hands import Hands, with_mishap
from waaler.devices.lines import NoLines, keeps_released_levels, pi_i2c, pi_lines
from waaler.devices.pipe import RelayLevels, Wires
from waaler.devices.simulated import SimulatedBed, simulated_wiring
from waaler.plan.sensing import AdviserKind
from waaler.settings import Settings

__all__ = ["Site", "open_pi", "open_simulated"]

log = structlog.get_logger()


class Site:
    """The opened bed. relay: hears of the relay's lines, where they are simulated."""

    def __init__(
        self, bench: Bench, pins: PumpPins, relay: Callable[[RelayLevels], object], start: Callable[[], object]
    ) -> None:
        self.bench, self.pins, self.relay, self.start = bench, pins, relay, start


def open_pi(settings: Settings, stack: ExitStack) -> Site:
    """The probes and the panel on this Pi's lines; `stack` closes them. The guard opens its own. Raises NoLines."""
    wiring = settings.wiring
    if wiring.pump_pins is None:
        raise NoLines("no pins are written out in the file: add `pins:` as in `waaler example`, or run --simulated")
    factory = pi_lines()
    if keeps_released_levels():
        remedy = "add dtparam=strict_gpiod to /boot/firmware/config.txt and boot"
        log.warning("kernel_keeps_a_dead_program_s_relay_on", remedy=remedy)
    try:
        bench = open_bench(wiring, factory, pi_i2c() if wiring.needs_i2c else None)
    except NoLines:
        raise
    except Exception as problem:  # gpiozero, lgpio and the kernel each raise their own
        raise NoLines(f"a line cannot be claimed: {problem}") from problem
    stack.callback(bench.close)
    return Site(bench, wiring.pump_pins, lambda _: None, lambda: None)


def open_simulated(
    settings: Settings, tell: Callable[[Wires], object], stack: ExitStack, mishap: str | None = None
) -> Site:
    """The same device classes on mock lines, moved by the simulated bed; `stack` closes both.

    tell: hears what the protective lines read, for the guard's process. mishap: what is wrong with its wiring.
    """
    names = tuple(a.name for a in settings.sensing.advisers if a.kind is AdviserKind.MOISTURE)
    wiring = simulated_wiring(settings.wiring, names)
    zone = ZoneInfo(settings.plan.place.timezone)
    hands = Hands() if mishap is None else with_mishap(mishap)
    bed = SimulatedBed(settings.figures, wiring, lambda: _hour(datetime.now(zone)), hands=hands, tell=tell)
    stack.callback(bed.close)
    bench = open_bench(wiring, bed.factory, bed.i2c)
    thermometers = {thermometer.name: bed.air_c for thermometer in settings.wiring.thermometers}
    bench = replace(bench, advisers={**bench.advisers, **thermometers})
    stack.callback(bench.close)
    assert wiring.pump_pins is not None
    bed.move(0.0)  # the lines stand as the water does before anybody reads them
    return Site(bench, wiring.pump_pins, lambda message: bed.hear_relay(dict(message.levels)), bed.start)


def _hour(local: datetime) -> float:
    return local.hour + local.minute / 60
