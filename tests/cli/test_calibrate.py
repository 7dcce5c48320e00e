"""A probe is told what dry and wet are: refusals, the lines to paste, and the edited file."""

import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tests.settings.test_faults import SMALLEST

from waaler.cli import calibrate
from waaler.cli.main import main
from waaler.settings import load

TEXT = (
    SMALLEST
    + """\
sensing:
  probes:
    - name: pot_3      # beside the door
      channel: 0
    - {name: pot_9, channel: 1, converter: i2c}   # the far end
"""
)


@pytest.fixture(autouse=True)
def _no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calibrate, "PAUSE_S", 0.0)


@pytest.fixture
def file(home: Path) -> Path:
    path = home / "terrace.yaml"
    path.write_text(TEXT)
    return path


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["calibrate", *map(str, words)], input="\n" * 12)


def test_a_probe_that_is_not_in_the_file_is_refused(file: Path) -> None:
    result = run("pot_4", file)

    assert result.exit_code == 2
    assert result.output == "terrace.yaml:9:3: no probe is named 'pot_4'; known: pot_3, pot_9\n"


@pytest.mark.parametrize("share", ["0%", "100%", "50", "wet"])
def test_a_point_that_is_no_share_between_is_refused(file: Path, share: str) -> None:
    assert run("pot_3", "--at", share, "--simulated", file).exit_code == 2


def _readings(monkeypatch: pytest.MonkeyPatch, at: Callable[[float], Iterator[float | None]]) -> None:
    """Stands in for the converter: what it gives while the probe is put at a share."""

    def source(*_: object) -> Callable[[float], Callable[[], float | None]]:
        return lambda share: at(share).__next__

    monkeypatch.setattr(calibrate, "_real", source)


def _forever(*values: float | None) -> Iterator[float | None]:
    while True:
        yield from values


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (lambda share: _forever(None), "no steady reading"),
        (lambda share: _forever(500.0, 560.0), "no steady reading"),
        (lambda share: _forever(500.0 + share / 10), "dry and wet hardly differ"),
        (lambda share: _forever({0.0: 820.0, 50.0: 850.0, 100.0: 380.0}[share]), "do not lie in a row"),
    ],
)
def test_readings_that_make_no_calibration_change_nothing(
    file: Path, monkeypatch: pytest.MonkeyPatch, at: Callable[[float], Iterator[float | None]], words: str
) -> None:
    _readings(monkeypatch, at)
    result = run("pot_3", "--at", "50%", "--write", file)

    assert result.exit_code == 1
    assert words in result.output
    assert file.read_text() == TEXT


def test_the_lines_to_paste_are_printed_and_the_file_stays(file: Path) -> None:
    result = run("pot_3", "--simulated", file)

    assert result.exit_code == 0
    assert "      calibration: {dry: 820, wet: 380}\n" in result.output
    assert file.read_text() == TEXT


def test_it_is_written_into_the_file_with_its_comments_and_mode(file: Path) -> None:
    file.chmod(0o640)
    for words in (("pot_3",), ("pot_9", "--at", "50%")):
        assert run(*words, "--simulated", "--write", file).exit_code == 0

    lines = file.read_text().splitlines()
    assert lines[-4:-1] == [
        "    - name: pot_3      # beside the door",
        "      channel: 0",
        "      calibration: {dry: 820, wet: 380}",
    ]
    assert lines[-1].startswith("    - {name: pot_9, channel: 1, converter: i2c, calibration: {dry: 21")
    assert lines[-1].endswith(", 50 %]]}}   # the far end")
    assert stat.S_IMODE(file.stat().st_mode) == 0o640
    probe = load(file).wiring.probes[1]
    assert probe.scale.value(15_484) == pytest.approx(50.0, abs=0.2)
    assert list(file.parent.glob(".*")) == []
