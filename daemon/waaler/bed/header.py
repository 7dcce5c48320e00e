"""The Pi's pin header: what stands at each physical position, and what each line does besides.

Positions count from the corner with the square pad: odd ones along the board's inside, even ones along its edge.
Source: Raspberry Pi documentation, "GPIO and the 40-pin header" (from memory; the tests hold the positions to
gpiozero's own tables).
"""

from collections.abc import Iterable

__all__ = [
    "FIRMWARE",
    "FIXED_PULL_UP",
    "GROUNDS",
    "I2C",
    "MOST_A",
    "MOST_ALL_A",
    "ONE_WIRE",
    "POSITIONS",
    "SERIAL",
    "SPI",
    "position_of",
    "pulled_up_at_boot",
    "what_stands_at",
]  # fmt: skip

POSITIONS: tuple[int | str, ...] = (
    "3.3 V", "5 V", 2, "5 V", 3, "ground", 4, 14, "ground", 15,
    17, 18, 27, "ground", 22, 23, "3.3 V", 24, 10, "ground",
    9, 25, 11, 8, "ground", 7, 0, 1, 5, "ground",
    6, 12, 13, "ground", 19, 16, 26, 20, "ground", 21,
)  # fmt: skip
"""By position, the first being 1: a GPIO number, or a supply."""

GROUNDS = tuple(n for n, what in enumerate(POSITIONS, 1) if what == "ground")
SUPPLIES_3_3_V = tuple(n for n, what in enumerate(POSITIONS, 1) if what == "3.3 V")

SPI = {7: "CE1", 8: "CE0", 9: "MISO", 10: "MOSI", 11: "SCLK"}
I2C = {2: "SDA", 3: "SCL"}
SERIAL = {14: "TXD", 15: "RXD"}
FIRMWARE = {0: "ID_SD", 1: "ID_SC"}
"""Read at every boot for the memory of a board on top."""

ONE_WIRE = 4
"""The kernel's 1-Wire bus, where `dtoverlay=w1-gpio` does not say otherwise. Its documentation, from memory."""

FIXED_PULL_UP = (2, 3)
"""Resistors of 1.8 kOhm on the board itself."""

MOST_A = 0.008
"""What one pin should give: the drive that the firmware sets. Source: BCM2835 pads control, from memory; the
absolute limit of 16 mA is no working value."""

MOST_ALL_A = 0.05
"""All pins together, from the 3.3 V rail of the first boards. Raspberry Pi documentation, from memory."""


def position_of(gpio: int) -> int:
    """The physical position, 1 to 40. Raises ValueError for a GPIO that no header has."""
    return POSITIONS.index(gpio) + 1


def what_stands_at(position: int) -> int | str:
    """The GPIO or the supply at a position. Raises IndexError for one that no header has."""
    if not 1 <= position <= len(POSITIONS):
        raise IndexError(position)
    return POSITIONS[position - 1]


def nearest(position: int, others: Iterable[int]) -> int:
    """The one of the other positions with the fewest rows between, the lower of two alike."""
    return min(others, key=lambda other: (abs((other - 1) // 2 - (position - 1) // 2), other))


def pulled_up_at_boot(gpio: int) -> bool:
    """GPIO 0 to 8 power up with a pull-up, 9 to 27 with a pull-down.

    Source: BCM2835 ARM Peripherals, 6.2 (from memory).
    """
    return gpio <= 8
