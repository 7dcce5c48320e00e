"""What is opened before any thread begins, in the order that keeps the pump safe."""

import fcntl
import json
import os
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import structlog

from waaler.bed.wiring import RelayPin
from waaler.devices.bench import Bench, open_bench
from waaler.devices.hands import Hands, with_mishap
from waaler.devices.lines import NoLines, keeps_released_levels, pi_i2c, pi_lines
from waaler.devices.simulated import SimulatedBed, TracedRelay, simulated_wiring
from waaler.keeper.restore import Files
from waaler.off import switch_off
from waaler.plan.sensing import AdviserKind
from waaler.settings import Settings, SettingsError, load, parse
from waaler.settings.places import bed_id, runtime_folder, state_folder

__all__ = ["AlreadyRunning", "hold_lock", "in_force", "open_pi", "open_simulated", "switch_off_first"]

log = structlog.get_logger()


class AlreadyRunning(RuntimeError):
    """Another daemon keeps this bed."""


def switch_off_first(file: Path) -> None:
    """Whatever the last daemon left on goes off before anything is read, by the lines that it wrote down."""
    bed = bed_id(file)
    path = runtime_folder(bed) / f"{bed}.off"
    if not path.exists():
        return
    try:
        problem = switch_off(str(path))
    except (OSError, ValueError, KeyError, TypeError, ImportError) as error:
        problem = repr(error)
    if problem is not None:
        log.warning("not_switched_off_first", problem=problem)


def in_force(file: Path) -> tuple[Settings, str | None]:
    """The file's settings; or the last accepted ones, and why the file is not taken.

    Raises SettingsError for a bad file where no accepted one is kept.
    """
    try:
        return load(file), None
    except SettingsError as problem:
        bed = bed_id(file)
        kept = Files.of(state_folder(bed), bed).accepted
        if not kept.exists():
            raise
        return parse(kept.read_text(encoding="utf-8"), str(kept)), str(problem)


def hold_lock(path: Path) -> Callable[[], None]:
    """Holds the bed's lock file; what it gives back lets it go. Raises AlreadyRunning."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as problem:
        os.close(handle)
        raise AlreadyRunning(f"another daemon keeps this bed ({path} is held)") from problem
    return lambda: os.close(handle)


def open_pi(settings: Settings, runtime: Path, stack: ExitStack) -> Bench:
    """The bench on this Pi's lines; `stack` closes it. Raises NoLines."""
    relay = settings.wiring.relay
    if relay is None:
        raise NoLines("no pins are written out in the file: add `pins:` as in `waaler example`, or run --simulated")
    factory = pi_lines()
    if keeps_released_levels():
        remedy = "add dtparam=strict_gpiod to /boot/firmware/config.txt and boot"
        log.warning("kernel_keeps_a_dead_program_s_relay_on", remedy=remedy)
    relays = [pin for pin in (relay, settings.wiring.cutoff) if pin is not None]
    _write_off_file(runtime / f"{settings.id}.off", relays)
    try:
        bench = open_bench(settings.wiring, factory, pi_i2c() if settings.wiring.needs_i2c else None)
    except NoLines:
        raise
    except Exception as problem:  # gpiozero, lgpio and the kernel each raise their own
        raise NoLines(f"a line cannot be claimed: {problem}") from problem
    stack.callback(bench.close)
    return bench


def open_simulated(
    settings: Settings, relay_trace: int | None, stack: ExitStack, mishap: str | None = None
) -> Bench:
    """The same device classes on mock lines, moved by the simulated bed; `stack` closes both.

    mishap: what is wrong with its wiring.
    """
    names = tuple(a.name for a in settings.sensing.advisers if a.kind is AdviserKind.MOISTURE)
    wiring = simulated_wiring(settings.wiring, names)
    zone = ZoneInfo(settings.plan.place.timezone)
    hands = Hands() if mishap is None else with_mishap(mishap)
    bed = SimulatedBed(settings.figures, wiring, lambda: _hour(datetime.now(zone)), hands=hands)
    stack.callback(bed.close)
    bench = open_bench(wiring, bed.factory, bed.i2c)
    thermometers = {thermometer.name: bed.air_c for thermometer in settings.wiring.thermometers}
    bench = replace(bench, advisers={**bench.advisers, **thermometers})
    if relay_trace is not None:
        bench = replace(bench, relay=TracedRelay(bench.relay, relay_trace))
    stack.callback(bench.close)
    bed.move(0.0)  # the lines stand as the water does before anybody reads them
    bed.start()
    return bench


def _hour(local: datetime) -> float:
    return local.hour + local.minute / 60


def _write_off_file(path: Path, relays: list[RelayPin]) -> None:
    """What the unit's stop-post command needs to switch the relays off, whatever becomes of this process."""
    lines = [{"chip": 0, "gpio": relay.gpio, "off": int(not relay.energised_by_high)} for relay in relays]
    path.write_text(json.dumps({"lines": lines}))
