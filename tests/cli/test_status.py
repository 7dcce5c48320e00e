"""What `waaler status` prints: word for word, in 80 columns."""

from dataclasses import replace

import pytest
from tests.core.test_status import NOW, PAUSED, UNTIL, WHOLE

from waaler.cli.status import _lines, _read
from waaler.core.status import BedState, NextRun, Standing, Status, SumpNow
from waaler.guard.names import HoldKind, Level

CALM = Status(BedState.WAITING, next=NextRun(NOW, 120.0, "early"), bed="terrace", title="Terrace", at=NOW)


def paused() -> Status:
    told = replace(
        WHOLE, state=PAUSED.state, run=None, announced_for_seconds=0.0, to_be_seen=(), trips=(), held_by=None
    )
    return replace(told, alerts=(), warnings=())


def test_an_answer_that_is_no_status_is_refused_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        _read({"ok": False, "text": "no such order"})

    assert end.value.code == 1
    assert capsys.readouterr().err == (
        "the daemon's answer is no status; is it of another version? Look at `status --json`\n"
    )


def test_a_paused_bed_says_when_the_next_run_comes_what_holds_it_the_last_run_and_the_sump() -> None:
    assert _lines(paused()) == [
        "Terrace (terrace): pause",
        "  next     today, 23:45; 120 s, catch-up",
        "  waits    pause by ann, until today, 23:45; it ends by itself, or with `waaler",
        "           resume`",
        "  last     today, 12:00; 120 s, ran its time",
        "  sump     172 L, and 40 L in the header tank; 4.1 days, needs water by today,",
        "           23:45",
        "  input    sump_low: good",
        "  sensor   pot_3: 61.5 % (not valid: stuck)",
        "  pump     2 of 60 min in 24 h; clock sure",
    ]


def test_a_bed_on_which_nothing_is_to_be_said_is_told_in_few_lines() -> None:
    assert _lines(CALM) == [
        "Terrace (terrace): waiting",
        "  next     today, 12:00; 120 s, early",
        "  last     no run yet",
        "  sump     not known; enter a refill to the full mark",
        "  pump     0 of 0 min in 24 h; clock unsure",
    ]


def test_a_hold_that_is_not_what_the_next_run_waits_for_is_told_all_the_same() -> None:
    soak = replace(CALM, state=BedState.SOAK, standing=Standing(HoldKind.SOAK, UNTIL, "ann"))

    assert _lines(soak)[1:3] == [
        "  hold     soak until today, 23:45, by ann",
        "  next     today, 12:00; 120 s, early",
    ]


def test_a_full_tray_is_no_time_to_add_water() -> None:
    full = replace(CALM, sump=SumpNow(60.0), inputs={"tray_high": Level.BAD})

    assert "  sump     60 L; lasts beyond 60 days; add none now: the tray is full" in _lines(full)


def test_no_line_is_longer_than_a_terminal() -> None:
    long = replace(WHOLE, title="A bed", warnings=("word " * 60,), trips=("trip " * 40,))

    assert max(map(len, _lines(long))) < 80
