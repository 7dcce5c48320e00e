"""The unit's stop-post command: every line of every file to its off level, whatever else is broken."""

import json
import os
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from waaler import off


class Lines:
    """Stands in for lgpio: `busy` lines are held by a living daemon."""

    class error(Exception):  # noqa: N801  (lgpio's own name)
        pass

    def __init__(self) -> None:
        self.claimed: list[tuple[int, int, int]] = []
        self.busy: set[int] = set()
        self.labels: dict[int, str] = {}

    def gpiochip_open(self, chip: int) -> int:
        if self.labels and chip not in self.labels:
            raise Lines.error("can not open gpiochip")
        return 100 + chip

    def gpio_claim_output(self, handle: int, gpio: int, level: int) -> None:
        if gpio in self.busy:
            raise Lines.error("GPIO busy")
        self.claimed.append((handle, gpio, level))


@pytest.fixture
def lines(monkeypatch: pytest.MonkeyPatch) -> Lines:
    found = Lines()
    module = SimpleNamespace(
        gpiochip_close=lambda _: None,
        error=Lines.error,
        gpiochip_open=found.gpiochip_open,
        gpio_claim_output=found.gpio_claim_output,
        gpio_get_chip_info=lambda handle: (0, 54, "gpiochip", found.labels[handle - 100]),
    )
    listed = os.listdir

    def names(path: str) -> list[str]:
        return [*(f"gpiochip{n}" for n in found.labels), "gpiomem", "tty"] if path == "/dev" else listed(path)

    monkeypatch.setattr("os.listdir", names)
    monkeypatch.setitem(sys.modules, "lgpio", module)
    return found


def write(folder: Path, bed: str, *relays: tuple[int, int]) -> None:
    data = {"lines": [{"chip": 0, "gpio": gpio, "off": level} for gpio, level in relays]}
    (folder / f"{bed}.off").write_text(json.dumps(data))


def test_each_line_is_claimed_at_its_own_off_level(tmp_path: Path, lines: Lines) -> None:
    write(tmp_path, "terrace", (17, 0), (5, 1))

    assert off.main([str(tmp_path), "terrace"]) == 0
    assert lines.claimed == [(100, 17, 0), (100, 5, 1)]


def test_a_line_that_a_living_daemon_holds_is_told_and_the_others_are_still_switched(
    tmp_path: Path, lines: Lines, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path, "terrace", (17, 0), (5, 1))
    lines.busy = {17}

    assert off.main([str(tmp_path), "terrace"]) == 1
    assert lines.claimed == [(100, 5, 1)]
    assert capsys.readouterr().err == "terrace.off: GPIO 17 on chip 0: GPIO busy\n"


@pytest.mark.parametrize("text", ["", "{", "[]", '{"lines": [{"gpio": 17}]}'])
def test_a_damaged_file_is_told_without_a_traceback(
    tmp_path: Path, lines: Lines, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    (tmp_path / "terrace.off").write_text(text)
    write(tmp_path, "yard", (4, 1))

    assert off.main([str(tmp_path)]) == 1
    assert lines.claimed == [(100, 4, 1)]
    assert capsys.readouterr().err.startswith("terrace.off: ")


def test_without_any_file_there_is_nothing_to_do(tmp_path: Path, lines: Lines) -> None:
    assert off.main([str(tmp_path)]) == 0
    assert off.main([]) in (0, 1)
    assert lines.claimed == []


FIVE = {
    0: "brcmvirt-gpio",
    2: "raspberrypi-exp-gpio",
    4: "gpio-brcmstb@107d508500",
    10: "pinctrl-bcm2712",
    11: "pinctrl-rp1",
}


@pytest.mark.parametrize("number", [0, 4, 11])
def test_the_chip_is_found_by_its_label_whatever_its_number(
    tmp_path: Path, lines: Lines, number: int, capsys: pytest.CaptureFixture[str]
) -> None:
    others = [label for label in FIVE.values() if label != "pinctrl-rp1"]
    numbers = [n for n in FIVE if n != number]
    lines.labels = {number: "pinctrl-rp1", **dict(zip(numbers, others, strict=True))}
    data = {"lines": [{"chip": 0, "label": "pinctrl-rp1", "gpio": 17, "off": 1}]}
    (tmp_path / "terrace.off").write_text(json.dumps(data))

    assert off.main([str(tmp_path), "terrace"]) == 0
    assert lines.claimed == [(100 + number, 17, 1)]
    assert capsys.readouterr().out == "GPIO 17 on pinctrl-rp1 is off\n"


def test_a_label_that_no_chip_has_is_told_and_no_other_line_is_touched(
    tmp_path: Path, lines: Lines, capsys: pytest.CaptureFixture[str]
) -> None:
    lines.labels = {0: "brcmvirt-gpio", 10: "pinctrl-bcm2712"}
    data = {"lines": [{"chip": 0, "label": "pinctrl-rp1", "gpio": 17, "off": 1}]}
    (tmp_path / "terrace.off").write_text(json.dumps(data))

    assert off.main([str(tmp_path), "terrace"]) == 1
    assert lines.claimed == []
    assert "GPIO 17 on pinctrl-rp1: no chip of that name among gpiochip [0, 10]" in capsys.readouterr().err
