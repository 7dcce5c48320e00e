"""`waaler report` and `waaler rehearse --report` from the shell."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tests.cli.test_history import bed, write_run
from tests.report.beds import NASTY

from waaler.cli.main import main
from waaler.core.facts import TripBegan
from waaler.guard.messages import Instant, Trip
from waaler.records.store import Store

__all__ = ["bed"]


def call(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_without_records_there_is_no_report(bed: Path) -> None:
    out = bed.with_suffix(".html")

    done = call("report", "--out", out, bed)

    assert (done.exit_code, done.stdout, out.exists()) == (1, "", False)
    assert "no records yet" in done.stderr


def test_a_place_that_cannot_be_written_is_named_in_one_line(bed: Path) -> None:
    write_run(bed, 0)

    done = call("report", "--out", bed.parent / "nowhere" / "a.html", bed)

    assert done.exit_code == 1
    assert done.stderr == f"{bed.parent}/nowhere/a.html: cannot be written: No such file or directory\n"


@pytest.mark.parametrize(("is_stopped", "status"), [(False, 0), (True, 1)])
def test_a_report_of_the_bed_is_written_and_a_trip_that_stands_is_an_answer_of_no(
    bed: Path, is_stopped: bool, status: int
) -> None:
    write_run(bed, 1)
    if is_stopped:
        store = Store(bed.parent / "terrace.db", "boot-a")
        store.write([TripBegan(Instant(9.0, 1.8e9), Trip.OVERRUN, "ran too long", is_locked=True)])
        store.close()
    out = bed.with_suffix(".html")

    done = call("report", "--days", 3, "--out", out, bed)

    assert (done.exit_code, done.stdout) == (status, f"{out} written\n")
    assert "<!doctype html>" in out.read_text()


def test_a_rehearsal_writes_its_report_with_verdict_faults_and_worst_moment(bed: Path) -> None:
    bed.write_text(bed.read_text().replace("bed: terrace", f"bed: terrace\ntitle: '{NASTY}'"))
    out = bed.with_suffix(".html")

    call("rehearse", "--days", 2, "--from", "2026-06-21", "--fault", "blocked-drain@1d", "--report", out, bed)

    page = out.read_text()
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;Söhne&quot;" in page
    assert "Fault: blocked-drain from day 1 on." in page
    assert "The driest moment:" in page
    assert "level as measured" in page
    assert re.search(r"21 June 2026 to 22 June 2026", page)


def test_a_comparison_of_plans_writes_its_plot_and_its_table(bed: Path) -> None:
    bed.write_text(bed.read_text().replace("bed: terrace", f"bed: terrace\ntitle: '{NASTY}'"))
    out = bed.with_suffix(".html")

    call("rehearse", "--days", 2, "--from", "2026-06-21", "--try", "cycles=3,4", "--report", out, bed)

    page = out.read_text()
    assert "<script" not in page
    assert "The least water that keeps every pot above its limit: cycles 3." in page
    assert page.count("<circle") == 2
    assert "plants wilt below" in page
    assert "2 days from 21 June 2026, simulated" in page
