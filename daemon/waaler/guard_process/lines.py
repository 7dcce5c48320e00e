"""Which lines the guard opens: the Pi's, or mock ones that the simulated bed moves."""

import json
import os
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from gpiozero.pins import Factory
from gpiozero.pins.mock import MockFactory

from waaler.bed.wiring import PumpPins, RelayPin
from waaler.devices.lines import NoLines, chip_of, pi_lines
from waaler.devices.pipe import RelayLevels, Wires
from waaler.devices.pump_lines import PumpLines, Relay, open_pump_lines
from waaler.guard.messages import Contact
from waaler.guard_process.loop import Refusal

__all__ = ["PiLines", "SimulatedLines"]


class PiLines:
    """The lines of this Pi.

    off_file: for whoever comes after a sudden end; it is written before they are claimed.
    """

    def __init__(self, off_file: Path) -> None:
        self._off_file = off_file

    def open(self, pins: PumpPins, tell: Callable[[object], bool]) -> PumpLines:  # noqa: ARG002
        try:
            factory = pi_lines()
            _write_off_file(self._off_file, factory, [pin for pin in (pins.relay, pins.cutoff) if pin is not None])
            return open_pump_lines(pins, factory)
        except NoLines as problem:
            raise Refusal(str(problem)) from problem
        except Exception as problem:  # gpiozero, lgpio and the kernel each raise their own
            raise Refusal(f"a line cannot be claimed: {problem}") from problem

    def move(self, wires: Wires) -> None:
        """Real lines are moved by the bed alone."""

    def tell_relay(self) -> None:
        """Nobody but the machine asks."""


def _write_off_file(path: Path, factory: Factory, relays: list[RelayPin]) -> None:
    number, label = chip_of(factory)
    lines = [
        {"chip": number, "label": label, "gpio": relay.gpio, "off": int(not relay.energised_by_high)}
        for relay in relays
    ]
    new = path.with_name(f"{path.name}.new")
    new.write_text(json.dumps({"lines": lines}))
    new.replace(path)


class SimulatedLines:
    """Mock lines in this process, moved by what the keeper's simulated bed says, which hears of the relay.

    trace: a pipe that is told each change of the relay, with the boot clock: the truth of a crash test.
    """

    def __init__(self, trace: int | None = None) -> None:
        self._factory = MockFactory()
        self._meter: int | None = None
        self._levels: dict[int, bool] = {}
        self._changed: Callable[[], object] = lambda: None
        self._trace = trace
        if trace is not None:
            os.set_blocking(trace, False)

    def open(self, pins: PumpPins, tell: Callable[[object], bool]) -> PumpLines:
        lines = open_pump_lines(pins, self._factory)
        self._meter = None if pins.flow is None else pins.flow.gpio
        gpios = tuple(pin.gpio for pin in (pins.relay, pins.cutoff) if pin is not None)

        def changed() -> None:
            tell(RelayLevels(tuple((gpio, bool(self._factory.pin(gpio).state)) for gpio in gpios)))

        self._changed = changed
        self.move(Wires(tuple(self._levels.items())))
        relay = _ToldRelay(lines.relay, changed, self._note)
        return replace(lines, relay=relay)

    def tell_relay(self) -> None:
        self._changed()

    def move(self, wires: Wires) -> None:
        """A line that is opened only later takes its level then."""
        self._levels.update(wires.levels)
        for gpio, is_high in wires.levels:
            line = self._factory.pin(gpio)
            line.drive_high() if is_high else line.drive_low()
        if self._meter is not None:
            line = self._factory.pin(self._meter)
            for _ in range(wires.pulses):
                line.drive_low()
                line.drive_high()

    def _note(self, is_on: bool) -> None:
        if self._trace is None:
            return
        line = f"{'on' if is_on else 'off'} {time.clock_gettime(time.CLOCK_BOOTTIME):.6f}\n"
        try:
            os.write(self._trace, line.encode())
        except OSError:
            return  # whoever reads it is slow or gone


class _ToldRelay:
    """A relay that tells of each change: on before it moves, off after."""

    def __init__(self, relay: Relay, changed: Callable[[], None], note: Callable[[bool], None]) -> None:
        self._relay, self._changed, self._note = relay, changed, note

    def on(self) -> None:
        if not self._relay.is_on:
            self._note(True)
        self._relay.on()
        self._changed()

    def off(self) -> None:
        was_on = self._relay.is_on
        self._relay.off()
        if was_on:
            self._note(False)
        self._changed()

    def alone(self, contact: Contact) -> None:
        self._relay.alone(contact)
        self._changed()

    @property
    def is_on(self) -> bool:
        return self._relay.is_on

    def close(self) -> None:
        self.off()
        self._relay.close()
