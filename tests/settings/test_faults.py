"""What is said of a file with faults: word for word, with its place, all of them at once."""

import pytest

from waaler.settings import SettingsError, parse

SMALLEST = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
plan:
  - window: early
    cycles: 4
    between: ["05:30", "sunset - 1 h 30 min"]
    water: 2 min
"""


def faults(text: str) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        parse(text, "t.yaml")
    return str(caught.value).splitlines()


def test_every_fault_is_told_at_once_in_the_order_of_their_places() -> None:
    text = SMALLEST.replace("terrace", "Terrace!").replace("cycles: 4", "cycles: 200").replace("2 min", "2")

    assert faults(text) == [
        "t.yaml:1:6: bed: 'Terrace!' cannot be read here; write small letters, digits and hyphens, a letter first,"
        " at most 31",
        "t.yaml:5:13: plan.cycles: 200 cycles is outside 1 to 96 cycles; write a value in that range",
        "t.yaml:7:12: plan.water: 2 has no unit; write 4 min, 90 s or 1 h 30 min",
    ]


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("bed: terrace\n", "", "1:1: 'bed' is missing; add `bed: ...`"),
        ("cycles:", "cycle:", "5:5: 'cycle' is no key here; write 'cycles'"),
        ("cycles: 4\n", "zzz: 4\n", "5:5: 'zzz' is no key here; known here: at, between, cycles, every, fallback, from,"
         " on, on_demand, until, water, window"),
        ("    water: 2 min", "    water: 2 min\n    water: 3 min", "8:5: 'water' is given twice; keep one of them"),
        ("2 min", "2 parsecs", "7:12: plan.water: 'parsecs' is no unit of a time; use one of s, min, h, d, as in 4 min,"
         " 90 s or 1 h 30 min"),
        ("2 min", "250 mL per pot", "7:12: a volume per pot needs the flow of an outlet; add `layout: {outlet_flow:"
         " 54 L/h}` as measured at the weakest outlets, or write a time"),
        ('"05:30"', "25:30", "6:15: plan.between: '25:30' cannot be read here; write \"06:30\" or \"sunset - 1 h 30"
         " min\""),
        ("Europe/Lisbon", "Europe/Lisboa", "2:19: place.timezone: 'Europe/Lisboa' cannot be read here; write a name such"
         " as Europe/Vienna"),
        ("latitude: 38.72", "latitude: 138.72", "2:44: place.latitude: 138.72 degrees is outside -90 to 90 degrees; write"
         " a value in that range"),
        ("    cycles: 4\n", "", "4:5: plan: a window needs its cycles; write one of: cycles + between, every + between,"
         " at"),
        ("    cycles: 4\n", "    cycles: 4\n    at: [06:00]\n", "4:5: plan: cycles and at exclude each other; write one"
         " of: cycles + between, every + between, at"),
        ("2 min", "-5 min", "7:12: plan.water: watering for -5 min makes no sense; write 1 s to 120 min"),
        ("2 min", "0 s", "7:12: plan.water: watering for 0 s makes no sense; write 1 s to 120 min"),
        ("2 min", "9" * 70 + " min", None),
        ("2 min", "-250 mL per pot", "7:12: plan.water: a dose of -250 mL per pot makes no sense; write 5 mL to 50 L per"
         " pot"),
        ("2 min", "1" + " a" * 20_000, "7:12: plan.water: '1 a a a a a a a a a ...' is too long to be read here; write 3"
         " min or 250 mL per pot"),
        ("2 min", "1 " + "a " * 38 + "1", "7:12: plan.water: '" + ("a " * 38).strip() + "' is no unit of a time; use one"
         " of s, min, h, d, as in 4 min, 90 s or 1 h 30 min"),
        ("    water: 2 min", "    from: 0001-01-01\n    water: 2 min", "7:11: plan.from: 0001-01-01 is no date of a plan;"
         " write one from 2000-01-01 to 2199-12-31"),
        ("    water: 2 min", "    until: 9999-12-31\n    water: 2 min", "7:12: plan.until: 9999-12-31 is no date of a plan;"
         " write one from 2000-01-01 to 2199-12-31"),
        ("plan:", "plan: &p", None),
        ("bed: terrace", "bed: *p", "1:6: this is not YAML: an alias (*p); look at quotes, brackets and indents here"),
        ("bed: terrace", "<<: {a: 1}\nbed: terrace", "1:1: a key that is not plain text; write a name and a colon"),
        ("bed: terrace", "? [1, 2]\n: 3\nbed: terrace", "1:3: a key that is not plain text; write a name and a colon"),
        ("bed: terrace", "bed: [terrace", None),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_its_place_and_what_to_write_instead(old: str, new: str, fault: str | None) -> None:
    assert old in SMALLEST
    text = SMALLEST.replace(old, new, 1)
    if fault is None:
        if "&p" in new:
            assert parse(text, "t.yaml").id == "terrace"
        else:
            assert faults(text)[0].startswith("t.yaml:")
        return

    assert faults(text) == [f"t.yaml:{fault}"]


PINS = """\
pins:
  relay: {gpio: 17}
  sump_low: {gpio: 27}
  tray_high: {gpio: 22}
"""


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("gpio: 22", "gpio: 17", "11:21: GPIO 17 (pin 11) is used twice, here and by pins.relay; give each its own"),
        ("  tray_high: {gpio: 22}\n", "  tray_high: {gpio: 22}\n  supply_sensed: {gpio: 27}\n", "12:25: GPIO 27 (pin 13)"
         " is used twice, here and by pins.sump_low; give each its own"),
        ("gpio: 22", "gpio: 28", "11:21: pins.tray_high.gpio: '28' cannot be read here; write a GPIO number from 0 to"
         " 27, or its place such as `pin 11`"),
        ("gpio: 22", "gpio: pin 9", "11:21: pins.tray_high.gpio: pin 9 of the header is ground; see `waaler pins` for what"
         " is free"),
        ("gpio: 22", "gpio: pin 41", "11:21: pins.tray_high.gpio: 'pin 41' cannot be read here; write a GPIO number from 0"
         " to 27, or its place such as `pin 11`"),
        ("gpio: 22", "gpio: pin 0", "11:21: pins.tray_high.gpio: 'pin 0' cannot be read here; write a GPIO number from 0 to"
         " 27, or its place such as `pin 11`"),
        ("gpio: 22", "gpio: pin 11", "11:21: GPIO 17 (pin 11) is used twice, here and by pins.relay; give each its own"),
        ("gpio: 22", "gpio: 14", "11:21: GPIO 14 (pin 8) is the serial console's TXD, which talks while the Pi boots; take"
         " another GPIO"),
        ("gpio: 22", "gpio: 1", "11:21: GPIO 1 (pin 28) is ID_SC: the firmware reads a memory there at every boot; take"
         " another GPIO"),
        ("gpio: 22", "gpio: 3, pull: down", "11:30: GPIO 3 (pin 5) has a fixed pull-up on the board; write pull: up, or take"
         " another GPIO"),
        ("gpio: 17}", "gpio: 17, draws: 70 mA}", "9:28: 70 mA is more than GPIO 17 (pin 11) gives (8 mA); put a transistor"
         " or a relay board with its own supply between"),
        ("relay: {gpio: 17}", "relay: {gpio: 26}\n  header: 26", "9:17: GPIO 26 (pin 37) is not there on a header of 26"
         " pins; take one of the pins 1 to 26; see `waaler pins`"),
        ("  tray_high: {gpio: 22}\n", "", "8:1: 'tray_high' is missing in pins; add `tray_high: ...`"),
        ("sump_low: {gpio: 27}", "sump_low: none", "10:13: without sump_low nothing stops the pump when it must; wire the"
         " float, or add `no_sump_float: accepted` at the top level"),
        ("sump_low: {gpio: 27}", "sump_low: {gpio: 27, closed: bad}", "10:32: sump_low would read good with a broken"
         " wire; wire the float so that closed is good, or add `broken_wire_unsafe: accepted` at the top level"),
    ],
)  # fmt: skip
def test_wiring_that_could_hurt_is_refused(old: str, new: str, fault: str) -> None:
    assert old in PINS

    told = faults(SMALLEST + PINS.replace(old, new, 1))
    if "draws" in new:  # the total of all pins is told too
        told = told[-1:]

    assert told == [f"t.yaml:{fault}"]


@pytest.mark.parametrize(
    ("edit", "line"),
    [
        ("sump_low: none", "no_sump_float: accepted\n"),
        ("sump_low: {gpio: 27, closed: bad}", "broken_wire_unsafe: accepted\n"),
    ],
)
def test_it_is_taken_when_the_grower_accepts_it_in_writing(edit: str, line: str) -> None:
    settings = parse(SMALLEST + PINS.replace("sump_low: {gpio: 27}", edit) + line, "t.yaml")

    assert settings.limits.has_sump_float is ("none" not in edit)


@pytest.mark.parametrize(("pulses", "told"), [(14, "2.9"), (1, "0.21")])
def test_a_meter_too_coarse_to_tell_a_dry_pump_is_refused(pulses: int, told: str) -> None:
    meter = f"  flow_meter: {{gpio: 5, pulses_per_litre: {pulses}, normal: 12.5 L/min}}\n"

    assert faults(SMALLEST + PINS + meter) == [
        f"t.yaml:12:43: {told} pulses a second at the normal 12.5 L/min are too few to tell a pump that runs dry; wire a"
        " meter of at least 15 pulses a litre, or take `flow_meter` out"
    ]
    assert parse(SMALLEST + PINS + meter.replace(f": {pulses},", ": 15,"), "t.yaml").limits.normal_flow_l_per_min


def test_the_one_wire_line_is_refused_only_with_a_thermometer() -> None:
    text = SMALLEST + PINS.replace("gpio: 22", "gpio: 4")
    assert parse(text, "t.yaml").wiring.tray_high is not None

    assert faults(text + "sensing: {thermometers: [{name: air, device: 28-0316a2795bff}]}\n") == [
        "t.yaml:11:21: GPIO 4 (pin 7) is the thermometers' 1-Wire line; take another GPIO"
    ]
    assert faults(SMALLEST + "sensing: {thermometers: [{name: air, device: 28}]}\n") == [
        "t.yaml:8:46: sensing.thermometers.device: '28' cannot be read here; write a name as in /sys/bus/w1/devices,"
        " such as 28-0316a2795bff"
    ]


def test_pins_of_the_converter_are_refused_only_with_a_probe() -> None:
    text = SMALLEST + PINS.replace("gpio: 22", "gpio: 10")
    assert parse(text, "t.yaml").wiring.tray_high is not None

    assert faults(text + "sensing: {probes: [{name: p, channel: 0}]}\n") == [
        "t.yaml:11:21: GPIO 10 (pin 19) is the converter's MOSI line; take a GPIO other than 7 to 11"
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "1:1: there are no settings; begin with `bed:`, see `waaler example`"),
        ("- a\n- b\n", "1:1: there are no settings; begin with `bed:`, see `waaler example`"),
        ("a: 1\n---\nb: 2\n", None),
        ("bed: a\0b", "1:7: a character that no YAML file may hold; remove it; save the file as plain UTF-8 text"),
        ("[" * 200, None),
        ("x: " + "y" * 300_000, "1:1: the file is larger than 256 kB; write only what differs from the defaults"),
        ("a: &x [*x]\n", None),
        ("\ttab: 1\n", None),
    ],
)
def test_what_is_no_settings_file_at_all_is_told_in_one_line(text: str, fault: str | None) -> None:
    told = faults(text)

    assert len(told) == 1
    assert fault is None or told == [f"t.yaml:{fault}"]


@pytest.mark.parametrize("text", ["two\\nlines", "\\e]0;gotcha\\a", "right\\u202eleft"])
def test_a_title_is_one_line_of_plain_text(text: str) -> None:
    (told,) = faults(SMALLEST + f'title: "Bed {text}"\n')

    assert told.startswith("t.yaml:8:8: title: 'Bed ")
    assert told.endswith("holds a line end or a character that shows nothing; write plain text here")
    assert told.isprintable()


def test_a_fault_is_one_line_whatever_the_file_is_called() -> None:
    with pytest.raises(SettingsError) as caught:
        parse("bed: [", "two\nlines\x1b[2J.yaml")

    assert str(caught.value).startswith("two\\nlines\\x1b[2J.yaml:2:1: this is not YAML")
    assert str(caught.value).isprintable()
