"""The sump's level by several floats, by a sensor on a converter, and the pump's current."""

from collections.abc import Iterator

import pytest
from gpiozero.pins import Factory
from tests.devices.opened import pump_lines
from tests.settings.test_faults import PINS, SMALLEST, faults

from waaler.bed.figures import Figures
from waaler.bed.wiring import LevelFloat, Pull
from waaler.devices.bench import Bench, open_bench
from waaler.devices.levels import FloatLadder
from waaler.devices.lines import mock_lines
from waaler.devices.pump_lines import Relay
from waaler.devices.simulated import SimulatedBed, simulated_wiring
from waaler.settings import parse

SENSORS = """\
sensing:
  levels: [{name: sump, channel: 2, converter: i2c, points: [[2000, 20 L], [22000, 240 L]]}]
  currents: [{name: pump, channel: 4, points: [[512, 0 A], [712, 2.5 A]]}]
  lights: [{name: sky, channel: 5, full: 1200 W/m2}]
"""
FLOATS = """\
  sump_floats: [{gpio: 6, at: 60 L}, {gpio: 12, at: 120 L}, {gpio: 13, at: 180 L, pull: down}]
"""


@pytest.fixture
def factory() -> Iterator[Factory]:
    lines = mock_lines()
    yield lines
    lines.close()


@pytest.mark.parametrize(
    ("lifted", "litres"),
    [((), 0.0), ((6,), 60.0), ((6, 12), 120.0), ((6, 12, 13), 180.0), ((12,), None), ((6, 13), None)],
)
def test_a_ladder_of_floats_tells_the_highest_lifted_and_nothing_if_one_below_hangs(
    factory: Factory, lifted: tuple[int, ...], litres: float | None
) -> None:
    ladder = FloatLadder((LevelFloat(12, 120), LevelFloat(6, 60), LevelFloat(13, 180, Pull.DOWN)), factory)
    for gpio in lifted:
        factory.pin(gpio).drive_high() if gpio == 13 else factory.pin(gpio).drive_low()

    assert ladder.read() == litres


@pytest.fixture
def bed() -> Iterator[tuple[SimulatedBed, Bench, Relay]]:
    settings = parse(SMALLEST + PINS + FLOATS + SENSORS, "t.yaml")
    wiring = simulated_wiring(settings.wiring, ())
    bed = SimulatedBed(Figures(), wiring, lambda: 12.0)
    bench = open_bench(wiring, bed.factory, bed.i2c)
    lines = pump_lines(wiring, bed.factory)
    bed.move(0.1)
    yield bed, bench, lines.relay
    bench.close()


def test_every_new_sensor_reads_the_simulated_bed_through_its_own_class(
    bed: tuple[SimulatedBed, Bench, Relay],
) -> None:
    simulated, bench, relay = bed
    assert bench.advisers["sump"]() == pytest.approx(220, abs=0.5)
    assert bench.advisers["sump_level"]() == 180.0
    assert bench.advisers["pump"]() == pytest.approx(0.0, abs=0.02)
    assert 300 < (bench.advisers["sky"]() or 0.0) < 900
    for _ in range(3):
        relay.on()
        simulated.move(60.0)
        bench.advisers["pump"]()

    assert bench.advisers["pump"]() == pytest.approx(2.0, abs=0.02)
    assert [bench.advisers["sump"]() for _ in range(3)][-1] == pytest.approx(simulated.water.sump_l, abs=0.5)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("sensing: {levels: [{name: sump, channel: 2, points: [[10, 20 L], [10, 30 L]]}]}", "these points do not lie in"
         " a row; write two or more, in the order of their counts"),
        ("sensing: {levels: [{name: sump, channel: 5, converter: i2c, points: [[10, 20 L], [20, 30 L]]}]}",
         "the i2c converter has no channel 5; write 0 to 3"),
        ("sensing: {currents: [{name: sump_level, channel: 0, points: [[10, 0 A], [20, 3 A]]}]}", "the name 'sump_level'"
         " is taken; give each adviser its own name"),
        ("sensing: {currents: [{name: p, channel: 0, points: [[10, 0], [20, 3 A]]}]}", "0 has no unit; write 5 mA or"
         " 1.2 A"),
    ],
)  # fmt: skip
def test_a_sensor_that_cannot_be_right_is_refused(text: str, fault: str) -> None:
    (told,) = faults(SMALLEST + text + "\n")

    assert told.endswith(fault)


def test_pins_of_lists_are_checked_as_all_others() -> None:
    assert faults(SMALLEST + PINS + FLOATS.replace("gpio: 12", "gpio: 17")) == [
        "t.yaml:12:45: GPIO 17 (pin 11) is used twice, here and by pins.relay; give each its own"
    ]
