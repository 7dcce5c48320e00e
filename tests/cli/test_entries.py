"""`waaler measure` and `waaler note`: what makes no sense never reaches the daemon."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.cli.test_history import bed

from waaler.cli import common
from waaler.cli.main import main
from waaler.keeper.control import ControlSocket
from waaler.keeper.door import Request, Room

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


@pytest.fixture
def entered(bed: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Request]]:
    """What reaches the keeper of a bed whose sump holds 100 L."""
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(bed.parent))
    got: list[Request] = []

    def order(request: Request) -> dict[str, object]:
        got.append(request)
        return {"ok": True, "text": "entered"}

    server = ControlSocket(bed.parent / "terrace.sock", dict, order, lambda *_: None, lambda: Room(100.0))
    server.start()
    yield got
    server.stop()
    server.join(timeout=5)


DOUBT = "10,000 L is more than the sump holds (100 L)"


@pytest.mark.parametrize("words", [("refill", "10000L"), ("measure", "--sump", "10000L")])
def test_more_than_the_sump_holds_is_asked_back(
    bed: Path, monkeypatch: pytest.MonkeyPatch, entered: list[Request], words: tuple[str, ...]
) -> None:
    in_a_pipe = CliRunner().invoke(main, [*words, str(bed)])
    monkeypatch.setattr(common, "_is_at_terminal", lambda: True)
    no = CliRunner().invoke(main, [*words, str(bed)], input="n\n")
    assert entered == []
    yes = CliRunner().invoke(main, [*words, str(bed)], input="y\n")
    sure = CliRunner().invoke(main, [*words, "--sure", str(bed)])

    assert (in_a_pipe.exit_code, no.exit_code, yes.exit_code, sure.exit_code) == (1, 1, 0, 0)
    assert in_a_pipe.stderr == f"{DOUBT}; nothing was entered. If it is true, say --sure\n"
    assert f"{DOUBT}. Enter it all the same? [y/N]" in no.stdout
    assert [request.amounts[0].value for request in entered] == [10_000.0, 10_000.0]
