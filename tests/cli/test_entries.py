"""`waaler measure` and `waaler note`: what makes no sense never reaches the daemon."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.cli.test_history import bed

from waaler.cli.main import main

__all__ = ["bed"]


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("measure",), "nothing was measured; give --ec, --ph, --temp or --sump"),
        (("measure", "--ec", "900 ppm"), "ppm has three scales; write ppm500, ppm640 or ppm700"),
        (("measure", "--ph", "15"), "'15' is no pH; write a number from 0 to 14"),
        (("measure", "--temp", "23"), "'23' is not a temperature; write 32 C or 90 F"),
        (("refill", "60"), "60 has no unit"),
        (("refill", "60L", "--of", "milk"), "'milk' is not one of 'water', 'solution'"),
    ],
)
def test_an_entry_that_cannot_be_read_says_what_to_write(bed: Path, words: tuple[str, ...], part: str) -> None:
    done = CliRunner().invoke(main, [*words, str(bed)])

    assert done.exit_code == 2
    assert part in " ".join(done.stderr.split())


@pytest.mark.parametrize("words", [("measure", "--ph", "5.9"), ("note", "aphids on pot 3"), ("refill", "60L")])
def test_without_a_daemon_the_answer_is_no(
    bed: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(bed.parent))

    done = CliRunner().invoke(main, [*words, str(bed)])

    assert done.exit_code == 1
    assert done.stderr == "no daemon answers for terrace; start it with `waaler run` or its unit\n"
