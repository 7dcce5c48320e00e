"""Pin factories: the Pi's own lines, or gpiozero's mock lines."""

from pathlib import Path
from typing import TYPE_CHECKING

from gpiozero import Device
from gpiozero.pins import Factory
from gpiozero.pins.mock import MockFactory

if TYPE_CHECKING:
    from waaler.devices.analog import I2cBus

__all__ = ["NoLines", "chip_of", "keeps_released_levels", "mock_lines", "pi_i2c", "pi_lines"]


class NoLines(RuntimeError):
    """This machine has no lines that could be claimed; says what to do."""


def pi_lines() -> Factory:
    """The lines of the Pi this runs on, through lgpio.

    Outputs are claimed at their off level: claimed low and written afterwards, as gpiozero does it, an
    active-low relay would blip on for about a millisecond.

    Raises: NoLines.
    """
    try:
        import lgpio
        from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin
    except ImportError as problem:
        raise NoLines("lgpio is not installed; pip install 'waaler[pi]', or run --simulated") from problem

    class SteadyPin(LGPIOPin):  # type: ignore[misc]
        def output_with_state(self, state: int) -> None:
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(state))

    try:
        factory = LGPIOFactory()
    except Exception as problem:  # lgpio, gpiozero and the kernel each raise their own
        raise NoLines(f"no GPIO lines on this machine ({problem}); run --simulated to try it without") from problem
    factory.pin_class = SteadyPin
    return factory


def chip_of(factory: Factory) -> tuple[int, str]:
    """Number and label of the chip whose lines a factory of `pi_lines` gives. The label stays over boots."""
    import lgpio

    _, _, _, label = lgpio.gpio_get_chip_info(factory._handle)
    return int(factory.chip), str(label)


def pi_i2c() -> "I2cBus":
    """The Pi's I2C bus on GPIO 2 and 3. Raises: NoLines."""
    try:
        from smbus2 import SMBus
    except ImportError as problem:
        raise NoLines("smbus2 is not installed; pip install 'waaler[pi]', or run --simulated") from problem
    try:
        bus: I2cBus = SMBus(1)
    except OSError as problem:
        raise NoLines(f"no I2C bus ({problem}); add dtparam=i2c_arm=on to config.txt and boot") from problem
    return bus


def mock_lines() -> Factory:
    """Lines that exist only in this process, and become its default: gpiozero's software SPI asks for that."""
    factory = MockFactory()
    Device.pin_factory = factory
    return factory


def keeps_released_levels(modules: Path = Path("/sys/module")) -> bool:
    """Whether this kernel leaves a dead program's outputs at their last level, a relay that was on included.

    Source: parameter persist_gpio_outputs of the Raspberry Pi kernel's pin drivers (raspberrypi/linux pull request
    6117); `dtparam=strict_gpiod` clears it.
    """
    return any(_is_set(file) for file in modules.glob("*/parameters/persist_gpio_outputs"))


def _is_set(file: Path) -> bool:
    try:
        return file.read_text().strip() in ("Y", "1")
    except OSError:
        return False
