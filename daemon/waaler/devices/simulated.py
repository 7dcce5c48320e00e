"""A simulated bed behind mock pins, moved in real time: the device classes that run are the real ones."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from random import Random
from threading import Event, Thread

from gpiozero.pins import Factory
from gpiozero.pins.mock import MockSPIDevice

from waaler.bed.figures import Figures
from waaler.bed.wiring import (
    AnalogDevice,
    AnalogInput,
    ConverterKind,
    FloatPin,
    FlowPin,
    Pull,
    RelayPin,
    SensedPin,
    Wiring,
)  # fmt: skip
from waaler.devices.hands import Hands
from waaler.devices.lines import mock_lines
from waaler.devices.pipe import Wires
from waaler.devices.simulated_i2c import SimulatedI2c
from waaler.guard.messages import Input
from waaler.model.bed import Bed, Water, advance, full_bed
from waaler.model.outlets import Outlets
from waaler.model.sensors import (
    NOISE_PERCENT,
    Float,
    counts_on,
    moisture_percent,
    simulated_probe,
)  # fmt: skip
from waaler.model.sky import Sky

__all__ = ["Converter", "SimulatedBed", "simulated_wiring"]

STEP_S = 0.1
TRAY_WET_L = 0.5
PUMP_A = 2.0
"""A 24 V pump of some 50 W. Common practice, no source."""

LIGHT_MJ_PER_M2 = 14.0
"""Of a bright day under a cover. Common practice, no source."""


def simulated_wiring(wiring: Wiring, probes: tuple[str, ...]) -> Wiring:
    """The wiring with whatever the file does not write out; every probe with the simulated one's calibration.

    Thermometers are no lines: `SimulatedBed.air_c` stands in for each.
    """
    floats = (wiring.sump_low, wiring.tray_high, wiring.tray_wet)
    panel = (wiring.status_light, wiring.buzzer, wiring.button, *wiring.sump_floats)
    pins = (wiring.relay, wiring.cutoff, *floats, wiring.flow, wiring.sensed, *panel)
    taken = {pin.gpio for pin in pins if pin}
    free = (gpio for gpio in (17, 27, 22, 23, 24, 25, 5, 6, 12, 13, 16) if gpio not in taken)
    known = {probe.name: probe.source for probe in wiring.probes}
    return replace(
        wiring,
        thermometers=(),
        relay=wiring.relay or RelayPin(next(free)),
        sump_low=wiring.sump_low or FloatPin(next(free)),
        tray_high=wiring.tray_high or FloatPin(next(free)),
        probes=tuple(
            simulated_probe(name, known.get(name, AnalogInput(channel))) for channel, name in enumerate(probes)
        ),
    )


def _is_on(device: AnalogDevice, source: AnalogInput) -> bool:
    return (device.source.channel, device.source.converter) == (source.channel, source.converter)


class Converter(MockSPIDevice):  # type: ignore[misc]
    """A ten-bit converter whose counts are looked up when it is asked."""

    def __init__(self, counts: Callable[[int], float], factory: Factory) -> None:
        super().__init__(11, 10, 9, 8, pin_factory=factory)
        self._counts = counts
        self._asked: int | None = None

    def on_start(self) -> None:
        super().on_start()
        self._asked = None

    def on_bit(self) -> None:
        bits = self.rx_buf[self.rx_buf.index(1) :] if 1 in self.rx_buf else []
        if self._asked is None and len(bits) == 5:  # start, single-ended, three channel bits
            self._asked = bits[2] * 4 + bits[3] * 2 + bits[4]
            self.tx_word(0, 2)
            self.tx_word(round(self._counts(self._asked)), 10)


class SimulatedBed:
    """Moves mock pins as the bed's water would, from its own thread, until closed.

    local_hour: gives the hour of the day, 0 to 24, for what the plants drink. hands: what somebody does to it.
    tell: hears what the pump's own lines read, where another process has them; relay lines are then heard of, not
    read.
    """

    def __init__(
        self,
        figures: Figures,
        wiring: Wiring,
        local_hour: Callable[[], float],
        seed: int = 1,
        hands: Hands | None = None,
        tell: Callable[[Wires], object] | None = None,
    ) -> None:
        self.factory: Factory = mock_lines()
        self._bed = Bed(figures, Outlets(figures))
        drinks_l = tuple(pot.drink_l_per_day for pot in figures.pots)
        self._sky = Sky(drinks_l, light_mj_per_m2=LIGHT_MJ_PER_M2)
        self.water: Water = full_bed(self._bed)
        self._wiring = wiring
        self.hands = hands or Hands()
        self._tell = tell
        self._relay_levels: dict[int, bool] = {}
        self._told_levels: dict[int, bool] = {}
        self._bounces = False
        self._pulses = 0.0
        self._local_hour = local_hour
        self._noise = Random(seed)
        self._floats = {Input.SUMP_LOW: Float(figures.sump_low_l), Input.TRAY_HIGH: Float(figures.tray_high_l)}
        self._stop = Event()
        self._converter = Converter(lambda channel: self._counts(AnalogInput(channel)), self.factory)
        self.i2c = SimulatedI2c(lambda channel: self._counts(AnalogInput(channel, ConverterKind.I2C)))
        self._move_floats()
        self._thread = Thread(target=self._run, name="simulated bed", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def air_c(self) -> float:
        """What a thermometer at the bed reads."""
        return self._sky.air_at(self._local_hour())

    def close(self) -> None:
        self._stop.set()
        self._thread.join(timeout=2)

    @property
    def is_on(self) -> bool:
        """Whether the lines of all its relays have the level that energises them."""
        relays = (self._wiring.relay, self._wiring.cutoff)
        return all(self._is_energised(relay) for relay in relays if relay is not None)

    def move(self, seconds: float) -> None:
        """Lets the water go its way for `seconds`, then sets every line."""
        before_l = self.water.lifted_l
        is_pumping = self.is_on and self.hands.is_pump_plugged
        hour, drain_open = self._local_hour(), self.hands.drain_open
        self.water = advance(self._bed, self.water, seconds, is_pumping, self._sky, hour, drain_open)
        self._move_floats()
        pulses = self._turn_meter(self.water.lifted_l - before_l)
        self._tell_wires(pulses)

    def hear_relay(self, levels: dict[int, bool]) -> None:
        """How the relays' lines stand in the process that has them; it then wants to know of every line."""
        self._relay_levels = levels
        self._told_levels = {}

    def _tell_wires(self, pulses: int) -> None:
        """What has changed of the lines that the guard reads; a line that did not get through is told again."""
        if self._tell is None:
            return
        wiring = self._wiring
        pins = (wiring.sump_low, wiring.tray_high, wiring.sensed)
        levels = {pin.gpio: bool(self.factory.pin(pin.gpio).state) for pin in pins if pin is not None}
        new = {gpio: level for gpio, level in levels.items() if self._told_levels.get(gpio) is not level}
        if (new or pulses) and self._tell(Wires(tuple(new.items()), pulses)):
            self._told_levels = {**self._told_levels, **new}

    def _counts(self, source: AnalogInput) -> float:
        """Of the sensor on this channel; one that the file does not name is a probe."""
        for devices, value in ((self._wiring.lights, self._light), (self._wiring.levels, self._level),
                               (self._wiring.currents, self._current)):  # fmt: skip
            for device in devices:
                if _is_on(device, source):
                    return min(float(source.converter.full_counts), max(0.0, device.scale.inverse.value(value())))
        return counts_on(source, self._moisture(source) + self._noise.gauss(0.0, NOISE_PERCENT))

    def _moisture(self, source: AnalogInput) -> float:
        """The probe on this channel sits in the pot of that number, unless somebody holds it elsewhere."""
        probe = next((probe for probe in self._wiring.probes if _is_on(probe, source)), None)
        if probe is not None and probe.name in self.hands.probes:
            return self.hands.probes[probe.name]
        return moisture_percent(self._bed, self.water, source.channel % len(self._bed.figures.pots))

    def _light(self) -> float:
        return self._sky.light_w_per_m2(self._local_hour())

    def _level(self) -> float:
        return self.water.sump_l

    def _current(self) -> float:
        return PUMP_A if self.is_on and self.hands.is_pump_plugged else 0.0

    def _run(self) -> None:
        while not self._stop.wait(STEP_S):
            self.move(STEP_S)

    def _move_floats(self) -> None:
        wiring, hands = self._wiring, self.hands
        self._bounces = not self._bounces
        for name, switch, pin in self._float_pins():
            is_closed = self._is_good(name) is switch.closed_is_good
            is_closed ^= name in hands.chattering and self._bounces
            self._drive(pin, is_closed=is_closed and name not in hands.broken)
        if wiring.tray_wet is not None:
            self._drive(wiring.tray_wet, is_closed=hands.is_tray_wetted or self.water.tray_l > TRAY_WET_L)

        for one in wiring.sump_floats:
            self._drive(FloatPin(one.gpio, one.pull), is_closed=self.water.sump_l >= one.at_l)
        if wiring.button is not None:
            self._drive(FloatPin(wiring.button.gpio, wiring.button.pull), is_closed=hands.is_button_pressed)
        if wiring.sensed is not None:
            self._drive(wiring.sensed, is_closed=self.is_on)

    def _float_pins(self) -> Iterator[tuple[Input, FloatPin, FloatPin]]:
        """Each float with its own pin, for the kind of its switch, and the pin that its wire really sits on."""
        pins = {Input.SUMP_LOW: self._wiring.sump_low, Input.TRAY_HIGH: self._wiring.tray_high}
        ends = reversed(pins.values()) if self.hands.are_swapped else pins.values()
        for (name, own), end in zip(pins.items(), ends, strict=True):
            if own is not None and end is not None:
                yield name, own, end

    def _is_good(self, name: Input) -> bool:
        """The sump's float is lifted when all is well, the tray's hangs."""
        volume_l = self.water.sump_l if name is Input.SUMP_LOW else self.water.tray_l
        is_lifted = self.hands.is_lifted(name, self._floats[name].see(volume_l))
        return is_lifted is (name is Input.SUMP_LOW)

    def _turn_meter(self, litres: float) -> int:
        """The meter's pulses for so much water, given to its line."""
        meter = self._wiring.flow
        if meter is None:
            return 0
        self._pulses += litres * meter.pulses_per_l
        pulses = int(self._pulses)
        self._pulses -= pulses
        for _ in range(pulses):
            self._drive(meter, is_closed=True)
            self._drive(meter, is_closed=False)
        return pulses

    def _is_energised(self, relay: RelayPin) -> bool:
        if self._tell is not None:
            return self._relay_levels.get(relay.gpio) is relay.energised_by_high
        line = self.factory.pin(relay.gpio)
        return line.function == "output" and bool(line.state) is relay.energised_by_high

    def _drive(self, pin: FloatPin | FlowPin | SensedPin, is_closed: bool) -> None:
        line = self.factory.pin(pin.gpio)
        if is_closed is (pin.pull is Pull.UP):
            line.drive_low()
        else:
            line.drive_high()
