"""The device classes on mock lines, broken wires included."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from gpiozero.pins import Factory
from tests.devices.opened import pump_lines

from waaler.bed.figures import Figures
from waaler.bed.scale import Scale
from waaler.bed.wiring import (
    AnalogDevice,
    AnalogInput,
    ConverterKind,
    FloatPin,
    FlowPin,
    Pull,
    RelayPin,
    SensedPin,
    ThermometerInput,
    Wiring,
)  # fmt: skip
from waaler.devices.analog import AnalogSensor, I2cChannel, SpiChannel
from waaler.devices.bench import open_bench
from waaler.devices.floats import FloatSwitch
from waaler.devices.flow import FlowMeter
from waaler.devices.lines import mock_lines
from waaler.devices.relay import PumpRelay
from waaler.devices.simulated import Converter, SimulatedBed, simulated_wiring
from waaler.devices.simulated_i2c import SimulatedI2c
from waaler.devices.thermometer import Thermometer
from waaler.guard.messages import Contact, Input, Level

PROBE = AnalogDevice("pot_3", AnalogInput(0), Scale.of((820, 0), (380, 100)))


@pytest.fixture
def factory() -> Iterator[Factory]:
    lines = mock_lines()
    yield lines
    lines.close()


def test_without_a_relay_there_is_nothing_for_the_guard_to_open() -> None:
    assert Wiring(sump_low=FloatPin(27)).pump_pins is None


@pytest.mark.parametrize("energised_by_high", [True, False])
def test_a_relay_is_off_when_made_whatever_its_polarity(factory: Factory, energised_by_high: bool) -> None:
    relay = PumpRelay(RelayPin(17, energised_by_high), factory)

    assert not relay.is_on
    assert bool(factory.pin(17).state) is not energised_by_high


@pytest.mark.parametrize("energised_by_high", [True, False])
def test_a_relay_goes_on_and_off_and_is_off_before_it_is_given_back(
    factory: Factory, energised_by_high: bool
) -> None:
    relay = PumpRelay(RelayPin(17, energised_by_high), factory)
    relay.on()
    assert bool(factory.pin(17).state) is energised_by_high
    relay.off()
    relay.off()
    assert not relay.is_on

    relay.on()
    relay.close()
    relay.close()

    assert factory.pin(17).function == "input"
    assert bool(factory.pin(17).state) is not energised_by_high


@pytest.mark.parametrize(
    ("pull", "is_line_high", "level"),
    [
        (Pull.UP, False, Level.GOOD),
        (Pull.UP, True, Level.BAD),
        (Pull.DOWN, True, Level.GOOD),
        (Pull.DOWN, False, Level.BAD),
    ],
)
def test_a_closed_float_reads_good_by_either_pull(
    factory: Factory, pull: Pull, is_line_high: bool, level: Level
) -> None:
    switch = FloatSwitch(FloatPin(27, pull), factory)
    factory.pin(27).drive_high() if is_line_high else factory.pin(27).drive_low()

    assert switch.read() is level


@pytest.mark.parametrize("pull", list(Pull))
def test_a_broken_wire_reads_bad(factory: Factory, pull: Pull) -> None:
    assert FloatSwitch(FloatPin(27, pull), factory).read() is Level.BAD


def test_a_float_that_opens_when_all_is_well_is_read_the_other_way(factory: Factory) -> None:
    switch = FloatSwitch(FloatPin(27, Pull.UP, closed_is_good=False), factory)
    factory.pin(27).drive_low()

    assert switch.read() is Level.BAD


FIGURES = Figures()


@pytest.fixture
def bed() -> Iterator[SimulatedBed]:
    wiring = simulated_wiring(Wiring(tray_wet=FloatPin(23)), ("pot_3",))
    bed = SimulatedBed(FIGURES, wiring, lambda: 12.0)
    yield bed
    bed.factory.close()


def test_the_simulated_bed_is_seen_through_the_real_device_classes(bed: SimulatedBed) -> None:
    wiring = simulated_wiring(Wiring(tray_wet=FloatPin(23)), ("pot_3",))
    lines, bench = pump_lines(wiring, bed.factory), open_bench(wiring, bed.factory)
    bed.move(0.1)

    assert lines.levels[Input.SUMP_LOW]() is Level.GOOD
    assert lines.levels[Input.TRAY_HIGH]() is Level.GOOD
    assert bench.advisers["pot_3"]() == pytest.approx(100.0, abs=1.0)
    assert bench.advisers["tray_wet"]() == 0.0


def test_the_simulated_pump_runs_while_the_relay_line_is_energised(bed: SimulatedBed) -> None:
    lines = pump_lines(simulated_wiring(Wiring(), ()), bed.factory)
    bed.move(60.0)
    assert bed.water.lifted_l == 0.0
    lines.relay.on()
    bed.move(60.0)
    lines.relay.off()
    bed.move(60.0)

    assert bed.water.lifted_l == pytest.approx(14 * 0.9)


def test_an_empty_sump_drops_the_simulated_float(bed: SimulatedBed) -> None:
    lines = pump_lines(simulated_wiring(Wiring(), ()), bed.factory)
    bed.water = replace(bed.water, sump_l=40.0)
    bed.move(0.1)

    assert lines.levels[Input.SUMP_LOW]() is Level.BAD


# --- two relays in series, a meter, a sensed supply ---------------------------------------------

FULL = Wiring(cutoff=RelayPin(24, False), flow=FlowPin(5, 450.0, 12.6), sensed=SensedPin(25))


@pytest.fixture
def full_bed() -> Iterator[SimulatedBed]:
    bed = SimulatedBed(FIGURES, simulated_wiring(FULL, ()), lambda: 12.0)
    yield bed
    bed.factory.close()


@pytest.mark.parametrize("contact", Contact)
def test_either_relay_alone_leaves_the_pump_dead(full_bed: SimulatedBed, contact: Contact) -> None:
    lines = pump_lines(simulated_wiring(FULL, ()), full_bed.factory)
    lines.relay.on()
    lines.relay.alone(contact)
    full_bed.move(10.0)

    assert lines.relay.is_on
    assert full_bed.factory.pin(17).state == (contact is Contact.MAIN)
    assert full_bed.factory.pin(24).state == (contact is Contact.MAIN)
    assert full_bed.water.lifted_l == 0.0
    assert lines.is_live is not None
    assert not lines.is_live()


def test_a_relay_without_a_partner_is_never_energised_alone(factory: Factory) -> None:
    relay = PumpRelay(RelayPin(17), factory)
    relay.on()
    relay.alone(Contact.MAIN)

    assert not relay.is_on


def test_both_relays_on_run_the_pump_and_meter_and_supply_show_it(full_bed: SimulatedBed) -> None:
    now_s = [100.0]
    meter = FlowMeter(FlowPin(6, 450.0, 12.6), full_bed.factory, lambda: now_s[0])
    lines = pump_lines(simulated_wiring(FULL, ()), full_bed.factory)
    lines.relay.on()
    full_bed.move(10.0)
    assert lines.is_live is not None
    assert lines.is_live()
    assert full_bed.water.lifted_l == pytest.approx(14 * 0.9 / 6)
    for _ in range(945):
        full_bed.factory.pin(6).drive_low()
        full_bed.factory.pin(6).drive_high()
    now_s[0] += 10.0

    assert meter.read() == pytest.approx(12.6)
    assert meter.read() == 0.0  # no time has passed
    now_s[0] += 1.0
    assert meter.read() == 0.0
    lines.relay.off()
    full_bed.move(1.0)
    assert not lines.relay.is_on
    assert not lines.is_live()


def test_the_simulated_meter_gives_the_pulses_of_what_was_lifted(full_bed: SimulatedBed) -> None:
    now_s = [0.0]
    assert FULL.flow is not None
    meter = FlowMeter(FULL.flow, full_bed.factory, lambda: now_s[0])
    lines = pump_lines(replace(simulated_wiring(FULL, ()), flow=None), full_bed.factory)
    lines.relay.on()
    for _ in range(20):
        full_bed.move(0.1)
    now_s[0] += 2.0

    assert meter.read() == pytest.approx(14 * 0.9, rel=0.01)


@pytest.mark.parametrize("counts", [0, 1023])
def test_a_dead_converter_gives_no_reading(factory: Factory, counts: int) -> None:
    Converter(lambda _: counts, factory)

    assert AnalogSensor(PROBE, SpiChannel(0, factory)).read() is None


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("21437\n", 21.437), ("-500\n", -0.5), ("85000\n", None), ("", None), ("x", None), (None, None)],
)
def test_a_thermometer_reads_the_kernels_file_or_nothing(
    tmp_path: Path, text: str | None, celsius: float | None
) -> None:
    folder = tmp_path / "28-0316a2795bff"
    folder.mkdir()
    if text is not None:
        (folder / "temperature").write_text(text)

    assert Thermometer(ThermometerInput("air", "28-0316a2795bff"), tmp_path).read() == celsius


def test_a_single_jump_of_the_counts_is_passed_over_and_a_dead_converter_is_not(factory: Factory) -> None:
    counts = [600.0]
    Converter(lambda _: counts[0], factory)
    sensor = AnalogSensor(PROBE, SpiChannel(0, factory))
    steady = [sensor.read() for _ in range(3)]
    counts[0] = 390.0
    jumped = sensor.read()
    counts[0] = 0.0

    assert [*steady, jumped] == [pytest.approx(50.0)] * 4
    assert sensor.read() is None
    counts[0] = 380.0
    assert sensor.read() == pytest.approx(100.0)


# --- the I2C converter ----------------------------------------------------------------------


def i2c_channel(bus: SimulatedI2c, channel: int) -> I2cChannel:
    return I2cChannel(AnalogInput(channel, ConverterKind.I2C), bus, pause=lambda _: None)


def test_an_i2c_converter_gives_the_counts_of_the_channel_asked() -> None:
    bus = SimulatedI2c(lambda channel: 1000.0 * (channel + 1))

    assert [i2c_channel(bus, n).counts() for n in range(4)] == [1000.0, 2000.0, 3000.0, 4000.0]


@pytest.mark.parametrize("counts", [0, -12, 32_767])
def test_an_i2c_converter_with_nothing_on_its_channel_gives_no_reading(counts: int) -> None:
    assert i2c_channel(SimulatedI2c(lambda _: counts), 0).counts() is None


def test_an_i2c_converter_that_is_gone_or_never_done_gives_no_reading() -> None:
    bus = SimulatedI2c(lambda _: 1000.0)
    bus.is_broken = True
    assert i2c_channel(bus, 0).counts() is None

    class Busy(SimulatedI2c):
        def read_i2c_block_data(self, address: int, register: int, length: int) -> list[int]:
            return [0x00, 0x83]

    assert i2c_channel(Busy(lambda _: 1000.0), 0).counts() is None


def test_probes_on_either_converter_see_the_simulated_bed_alike() -> None:
    on_i2c = AnalogDevice("pot_9", AnalogInput(2, ConverterKind.I2C), Scale.of((0, 100), (32_767, 0)))
    wiring = simulated_wiring(Wiring(probes=(on_i2c,)), ("pot_3", "pot_9"))
    bed = SimulatedBed(FIGURES, wiring, lambda: 12.0)
    bench = open_bench(wiring, bed.factory, bed.i2c)

    assert bench.advisers["pot_3"]() == pytest.approx(100.0, abs=1.0)
    assert bench.advisers["pot_9"]() == pytest.approx(100.0, abs=1.0)
    assert bench.counts["pot_9"]() == pytest.approx(380 * 25.8, rel=0.01)
    bed.factory.close()
