"""Two files of one folder: never the same bed, never the same pins."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.settings.test_faults import SMALLEST

from waaler.cli.main import main


@pytest.fixture
def etc(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    return tmp_path


def written(etc: Path, name: str, bed: str, more: str = "") -> Path:
    file = etc / f"{name}.yaml"
    file.write_text(SMALLEST.replace("bed: terrace", f"bed: {bed}") + more)
    return file


def told(file: Path, *words: str) -> tuple[int, list[str]]:
    done = CliRunner().invoke(main, ["check", *words, str(file)])
    return done.exit_code, done.stderr.splitlines()


def pins(relay: int, low: int, tray: int = 22) -> str:
    return (
        f"pins:\n  relay: {{gpio: {relay}, energised_by: high}}\n  sump_low: {{gpio: {low}, closed: good}}\n"
        f"  tray_high: {{gpio: {tray}, closed: good}}\n"
    )


def test_a_copy_of_a_file_beside_it_is_told_from_both_sides(etc: Path) -> None:
    file, copy = written(etc, "terrace", "terrace"), written(etc, "terrace-old", "terrace")

    assert told(file, "--beside") == (
        2,
        [f"{file}:1:6: {copy} names this bed too; keep copies of a file elsewhere"],
    )
    assert told(copy, "--beside")[1] == [
        f"{copy}:1:6: the file is called terrace-old and names the bed terrace; call it terrace.yaml, or keep a copy"
        " elsewhere",
        f"{copy}:1:6: {file} names this bed too; keep copies of a file elsewhere",
    ]


def test_pins_of_another_bed_are_told_with_their_place(etc: Path) -> None:
    other = written(etc, "first", "first", pins(17, 27))
    file = written(etc, "second", "second", pins(27, 23, 24))

    code, lines = told(file, "--beside")

    assert code == 2
    assert len(lines) == 1
    assert lines[0].startswith(f"{file}:9:17: relay: ")
    assert f"is the sump_low of {other} too; give each bed pins of its own" in lines[0]


def test_beds_with_pins_and_ids_of_their_own_get_on(etc: Path) -> None:
    written(etc, "first", "first", pins(17, 27))
    written(etc, "bad", "bad", "cycle: 3\n")
    (etc / "odd.yaml").mkdir()

    assert told(written(etc, "second", "second", pins(5, 23, 24)), "--beside")[0] == 0


def test_elsewhere_a_file_is_not_held_against_its_neighbours(etc: Path) -> None:
    file = written(etc, "terrace", "terrace")
    written(etc, "terrace-old", "terrace")

    assert told(file)[0] == 0
