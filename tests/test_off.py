"""The unit's stop-post command: every line of every file to its off level, whatever else is broken."""

import json
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

    def gpiochip_open(self, chip: int) -> int:
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
    )
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
    assert capsys.readouterr().err == "terrace.off: GPIO 17: GPIO busy\n"


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
