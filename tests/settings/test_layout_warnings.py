"""What `check` says of heights, sizes and figures that do not agree; the amounts are counted by hand."""

from datetime import date

import pytest
from tests.settings.test_faults import SMALLEST
from tests.settings.test_growing import MONTHS

from waaler.settings import parse
from waaler.settings.reckoning import wants_l_per_min
from waaler.settings.warnings import warnings

PUMP = "pump: {free_flow: 1400 L/h, shut_off: 2.2 m}, lift: 40 cm"
FLOOR = "sump: {floor: [1 m, 50 cm], full: %s, low: 10 cm, empty: 5 cm}"


def told(text: str) -> list[str]:
    return [str(fault) for fault in warnings(parse(SMALLEST + text, "t.yaml"), date(2026, 6, 1))]


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (f"layout: {{{PUMP}, outlet_flow: 2 L/h}}\n", "8:82: 2 L/h is written, and the layout makes "),
        (f"layout: {{{PUMP}, line_holds: 9 L}}\n", "8:81: 9 L is written, and the layout makes "),
        (f"layout: {{{PUMP}, {FLOOR % '60 cm'}}}\n", "8:62: a full sump stands 15 cm above the line, and outlet 1 ends lower; it"
         " siphons once the pump stops: set the full mark lower, or raise line and outlets"),
        ("layout: {tray: {length: 6 m, width: 2 m}}\n", "8:16: a run into a blocked drain lifts 64 L; the high float turns at"
         " 238 L; hang it lower, or allow a longer run"),
        ("layout: {sump: {full: 55 L}}\npots: [{count: 14, crop: a}]\ncrops: [{name: a, planted: 2026-03-01, canopy: 0.1 m2,"
         " stages: [9, 9, 200, 9], kc: [1, 1]}]\n" + MONTHS, "8:16: between its marks the sump holds 10 L, and a run and "),
    ],
)  # fmt: skip
def test_check_tells_what_will_not_do(text: str, part: str) -> None:
    """A floor of half a square metre: 55 cm between the marks, 40 of lift, outlets 5 cm above the line. The tray's third
    is 0.66 x 12 m2 x 90 mm / 3 = 238 L; 12.6 L/min for a third of 195 L are 65 L, less 1.5 L of line.
    """
    found = told(text)

    assert [line for line in found if line.startswith(f"t.yaml:{part}")], found


@pytest.mark.parametrize(
    "text",
    [
        f"layout: {{{PUMP}, {FLOOR % '44 cm'}}}\n",
        f"layout: {{{PUMP}}}\n",
        "layout: {tray: {length: 1.5 m, width: 2 m}}\n",
    ],
)
def test_what_will_do_is_left_alone(text: str) -> None:
    assert [line for line in told(text) if "no pins are written" not in line] == []


def test_what_a_pot_wants_while_the_pump_runs_is_its_drink_in_the_plans_minutes() -> None:
    """1.2 L a day and a fifth more that drains, 1.5 L, in four cycles of 2 min less 1.5 L of line at 12.6 L/min."""
    settings = parse(SMALLEST, "t.yaml")

    assert wants_l_per_min(settings, date(2026, 6, 1)) == pytest.approx([1.5 / (4 * (2 - 1.5 / 12.6))] * 14)
