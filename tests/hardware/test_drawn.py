"""The wiring diagrams and their page are those of config/bed.yaml."""

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hardware.draw import DIAGRAMS, FILE, draw

from waaler.core.conditions import STOPS
from waaler.settings import load, parse
from waaler.settings.wire_words import wires

HARDWARE = Path(__file__).parents[2] / "hardware"
TEXT = FILE.read_text()
NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")


def rounded(svg: str) -> list[str]:
    """Its words and its numbers to a tenth, so that the last digits of a sine do not matter."""
    return NUMBER.sub(lambda number: f"{float(number[0]) + 0.0:.1f}", svg).replace("-0.0", "0.0").split()


@pytest.mark.parametrize("name", DIAGRAMS)
def test_each_diagram_is_the_one_that_the_file_gives(name: str) -> None:
    kept = (HARDWARE / f"{name}.svg").read_text()

    assert rounded(kept) == rounded(draw(name, load(FILE))), "draw them anew: .venv/bin/python -m hardware.draw"
    ElementTree.fromstring(kept)


def test_another_pin_in_the_file_is_another_pin_in_the_diagrams() -> None:
    moved = parse(
        TEXT.replace("relay: {gpio: 17,", "relay: {gpio: 26,").replace("gpio: 27,", "gpio: 13,"), "t.yaml"
    )

    assert "pin 37 GPIO 26" in draw("inputs", moved)
    assert "pin 33 GPIO 13" in draw("inputs", moved)
    assert "GPIO 26" in draw("pump-low-voltage", moved)
    assert "GPIO 17" not in draw("pump-low-voltage", moved)


def test_a_board_switched_by_low_gets_3_3_v_for_its_input_and_a_second_board_its_own_pins() -> None:
    other = parse(
        TEXT.replace("energised_by: high", "energised_by: low").replace("# cutoff_relay:", "cutoff_relay:"),
        "t.yaml",
    )
    kept, drawn = draw("relay-board", load(FILE)), draw("relay-board", other)

    assert ">VCC<" not in kept
    assert "pin 1 3.3 V" not in kept
    assert all(words in drawn for words in ("JD-VCC", ">VCC<", "pin 1 3.3 V", "energised by low", "pin 2 5 V"))
    assert all(words in drawn for words in ("relay board K4", "pin 18 GPIO 24", "pin 4 5 V", "energised by high"))


def test_the_section_has_the_file_s_levels() -> None:
    other = parse(TEXT.replace("full: 260 L", "full: 210 L").replace("rim: 9 cm", "rim: 11 cm"), "t.yaml")

    assert "260 L" in draw("levels", load(FILE))
    assert "210 L" in draw("levels", other)
    assert "260 L" not in draw("levels", other)
    assert "11 cm" in draw("levels", other)


def _rows(page: str) -> Iterator[tuple[str, int, int]]:
    """Name, GPIO and pin of the table's rows."""
    for row in re.finditer(
        r"^\| `?(\w+)`?[^|]*\| (\d+) \(pin (\d+)\)", (HARDWARE / page).read_text(), re.MULTILINE
    ):
        yield row[1], int(row[2]), int(row[3])


def test_the_page_s_table_has_the_pins_of_the_file() -> None:
    table = {name: (gpio, pin) for name, gpio, pin in _rows("wiring.md")}
    in_use = {wire.name: (wire.gpio, wire.position) for wire in wires(load(FILE).file) if not wire.is_bus}
    proposed = re.findall(r"^  # (\w+): \{gpio: (\d+)", TEXT, re.MULTILINE)

    assert table.items() >= in_use.items()
    assert {name: gpio for name, (gpio, _) in table.items() if name not in in_use} == {
        name: int(gpio) for name, gpio in proposed
    }


def test_every_kind_of_trip_is_told_whether_it_is_safe_to_touch() -> None:
    page = (HARDWARE / "faults.md").read_text()

    for kind in (
        *STOPS.values(),
        "sump-low",
        "not-commissioned",
        "no-sign-of-water",
        "cycle-missed",
        "clock-unsure",
    ):
        assert f"`{kind}`" in page, kind


@pytest.mark.parametrize("page", sorted(path.name for path in HARDWARE.glob("*.md")))
def test_every_link_of_a_page_leads_somewhere(page: str) -> None:
    links = re.findall(r"\]\(([^)#]+)", (HARDWARE / page).read_text())

    assert [link for link in links if not (HARDWARE / link).exists()] == []
