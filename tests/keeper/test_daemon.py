"""The daemon as a process of its own, on mock pins moved by the simulated bed, in real time."""

import signal
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from tests.keeper.process import FILE, Daemon, until

from waaler.commission.by_socket import SocketSite
from waaler.commission.parts import Finding, Verdict
from waaler.core.status import Present, as_json
from waaler.devices.clock import HARDWARE_CLOCK, SYNCHRONISED
from waaler.notify.asking import ask
from waaler.records.reader import Reader


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    found = Daemon(tmp_path)
    yield found
    if found.process is not None and found.process.poll() is None:
        found.process.kill()
        found.process.wait(timeout=5)


def test_a_daemon_that_was_killed_says_so_at_its_next_start_until_somebody_acknowledges(daemon: Daemon) -> None:
    daemon.start()
    assert daemon.status()["alerts"] == []
    until(lambda: daemon.end(signal.SIGKILL) < 0, "its death")
    daemon.start()

    (alert,) = until(lambda: daemon.status()["alerts"], "the alert")
    assert (alert["kind"], alert["severity"], alert["acknowledged"]) == ("restarted", "soon", None)
    assert alert["text"].startswith("The daemon ended without being told to, and was started again.\n")
    done = daemon.command("acknowledge", "--alert", "restarted")
    assert (done.returncode, done.stdout) == (0, "acknowledged: restarted\n")
    assert daemon.status()["alerts"] == []


# --- refusals ---------------------------------------------------------------------------------


def test_without_a_daemon_an_order_is_answered_in_one_line(daemon: Daemon) -> None:
    done = daemon.command("status")

    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "no daemon answers for terrace; start it with `waaler run` or its unit\n"


def test_without_pins_the_daemon_does_not_start_on_real_lines(daemon: Daemon) -> None:
    done = daemon.command("run")

    assert (done.returncode, done.stderr) == (
        1,
        "no pins are written out in the file: add `pins:` as in `waaler example`, or run --simulated\n",
    )


def test_a_bad_file_and_no_accepted_one_ends_with_its_faults(daemon: Daemon) -> None:
    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: four"))

    done = daemon.command("run", "--simulated")

    assert done.returncode == 2
    assert "terrace.yaml:6:13: plan.cycles: 'four' cannot be read here" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_second_daemon_for_the_same_bed_is_refused(daemon: Daemon) -> None:
    daemon.start()

    done = daemon.command("run", "--simulated")

    assert done.returncode == 1
    assert done.stderr.startswith("waaler: another daemon keeps terrace (")
    assert daemon.status()["ok"]


def test_a_second_daemon_on_the_same_records_is_refused_whatever_its_run_time_folder(daemon: Daemon) -> None:
    daemon.start()
    daemon.environment["RUNTIME_DIRECTORY"] = str(daemon.folder / "other-run")

    done = daemon.command("run", "--simulated")

    assert done.returncode == 1
    assert done.stderr.startswith("waaler: another daemon keeps terrace (")
    assert "state" in done.stderr


def test_an_instance_whose_file_names_another_bed_is_refused_with_the_place(daemon: Daemon) -> None:
    daemon.file.write_text(FILE.replace("bed: terrace", "bed: balcony"))

    done = daemon.instance("terrace")

    assert done.wait(20) == 2
    assert daemon.log.read_text().startswith(
        f"{daemon.file}:1:6: this names the bed balcony, and the instance that was started is terrace;"
        " write `bed: terrace`, or call the file balcony.yaml and start that instance"
    )


def test_an_instance_whose_file_names_another_bed_runs_what_it_accepted_last_and_says_so(daemon: Daemon) -> None:
    daemon.start()
    daemon.end()
    daemon.file.write_text(FILE.replace("bed: terrace", "bed: balcony").replace("cycles: 4", "cycles: 5"))

    daemon.process = daemon.instance("terrace")

    told = until(
        lambda: daemon.answers() and [a for a in daemon.status()["alerts"] if a["kind"] == "plan-rejected"],
        "the alert",
    )
    assert "the instance that was started is terrace" in told[0]["text"]
    assert daemon.status()["bed"] == "terrace"
    assert not list(daemon.folder.rglob("balcony*"))


# --- the main job -----------------------------------------------------------------------------


def test_a_run_by_hand_an_edit_a_bad_edit_and_a_clean_end(daemon: Daemon) -> None:
    daemon.start()
    until(lambda: set(daemon.status()["inputs"].values()) == {"good"}, "good inputs")
    daemon.water(2)
    until(lambda: daemon.status()["run"] is None, "the end of the run")

    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: 6"))
    until(lambda: "plan_taken" in daemon.log.read_text(), "the edited plan")
    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: six"))
    alert = until(lambda: daemon.status()["alerts"], "the alert of the bad edit")[0]
    assert alert["kind"] == "plan-rejected"
    assert "terrace.yaml:6:13: plan.cycles: 'six' cannot be read here" in alert["text"]
    assert daemon.command("status").returncode == 0

    daemon.water(60)
    assert daemon.end() == 0
    daemon.file.write_text(FILE)

    by_hand = [run for run in daemon.history() if run["cause"] == "by hand"]
    runs = [run for run in by_hand if run["outcome"] != "refused"]
    assert [run["outcome"] for run in runs] == ["done", "stopped"]
    assert runs[0]["ran_seconds"] == pytest.approx(2.0, abs=0.2)
    assert runs[1]["ended_because"] == "the daemon was stopped"


def test_an_edit_of_clock_and_title_needs_no_restart(daemon: Daemon) -> None:
    daemon.start()
    before = daemon.status()

    daemon.file.write_text(FILE.replace("clock: trusted\n", "title: Upper terrace\n"))

    now = until(lambda: (found := daemon.status())["title"] == "Upper terrace" and found, "the new title")
    is_kept_right = SYNCHRONISED.exists() or HARDWARE_CLOCK.exists()
    assert (before["title"], before["clock"]) == ("terrace", "sure")
    assert now["clock"] == "unsure" or is_kept_right


POISON = (
    *(f'{{"do": "{kind}", "seconds": {size}}}' for kind in ("water", "pause", "soak", "attend")
      for size in ("NaN", "1e999", "-1e999", "-1", "true", "1e-320", "9" * 400)),
    *(f'{{"do": "refill", "amounts": {{"water": {size}}}}}' for size in ("NaN", "1e999", "-5", "true", "9" * 400)),
    *(f'{{"do": "measure", "amounts": {{"{name}": {size}}}}}' for name in ("EC", "pH", "sump")
      for size in ("NaN", "-1e999", "true", "9" * 400)),
    '{"do": "refill", "amounts": {"water": 10000}}',
)  # fmt: skip


def test_no_number_that_nobody_can_mean_gets_into_the_history(daemon: Daemon) -> None:
    daemon.start()
    for line in POISON:
        assert not daemon.say(line)["ok"], line

    assert daemon.order(do="note", text="after all that")["ok"]
    until(lambda: "after all that" in daemon.command("history").stdout, "the note in the history")
    assert daemon.command("history", "--json").returncode == 0
    assert daemon.command("report", "--out", "report.html").returncode == 0
    assert daemon.status()["alerts"] == []


def test_a_kill_in_a_run_is_found_at_the_next_start_and_counts_to_its_deadline(daemon: Daemon) -> None:
    daemon.start()
    daemon.water(60)
    until(lambda: daemon.status()["run"] is not None, "the run")
    daemon.end(signal.SIGKILL)
    daemon.start()

    (run,) = [run for run in daemon.history() if run["outcome"] != "refused"]
    assert run["outcome"] == "interrupted"
    assert daemon.status()["pump_seconds_24h"] == pytest.approx(60.0, abs=0.5)


def test_s10_a_disk_that_blocks_every_write_keeps_no_run_waiting_and_ends_it_in_time(daemon: Daemon) -> None:
    daemon.start()
    daemon.water(1)
    until(lambda: [run["outcome"] for run in daemon.history()].count("done") == 1, "the first run in the history")
    (database,) = (daemon.folder / "state").rglob("terrace.db")
    with closing(sqlite3.connect(database, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        daemon.water(2)
        until(lambda: "history-not-kept" in {alert["kind"] for alert in daemon.status()["alerts"]}, "the alert")
        until(
            lambda: daemon.status()["pump_seconds_24h"] >= 2.9 and daemon.status()["run"] is None, "the run's end"
        )
        other.execute("ROLLBACK")
    until(lambda: [run["outcome"] for run in daemon.history()].count("done") == 2, "both runs in the history")


def test_records_deleted_under_a_running_daemon_are_back_whole_and_a_person_is_told(daemon: Daemon) -> None:
    daemon.start()
    assert daemon.order(do="note", text="before")["ok"]
    database = next(daemon.folder.rglob("terrace.db"))
    until(lambda: "before" in daemon.command("history").stdout, "the note in the history")
    for part in database.parent.glob("terrace.db*"):
        part.unlink()

    assert daemon.order(do="note", text="after")["ok"]

    told = until(
        lambda: [alert for alert in daemon.status()["alerts"] if alert["kind"] == "history-lost"], "the alert"
    )
    assert "nothing is lost" in told[0]["text"]
    until(lambda: "after" in daemon.command("history").stdout, "the second note in the history")
    assert "before" in daemon.command("history").stdout


def test_a_start_with_a_bad_file_runs_the_last_accepted_one_and_alerts(daemon: Daemon) -> None:
    daemon.start()
    daemon.end()
    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: four"))
    daemon.start()

    alerts = until(lambda: daemon.status()["alerts"], "the alert of the bad file")

    assert [alert["kind"] for alert in alerts] == ["plan-rejected"]
    assert daemon.status()["next"] is not None


def test_off_asks_a_living_daemon_to_end_its_run(daemon: Daemon) -> None:
    nobody = daemon.command("off")
    assert nobody.returncode == 1
    assert nobody.stderr.startswith("no daemon answers for terrace, and none has left its lines in ")
    daemon.start()
    daemon.water(60)
    told = daemon.command("off")

    assert told.returncode == 0
    assert told.stdout.startswith("a daemon keeps terrace; it was asked to end its run: stopped")
    until(lambda: daemon.status()["run"] is None, "the end of the run")


def test_orders_over_the_commands(daemon: Daemon) -> None:
    daemon.start()

    assert daemon.command("pause", "3h").stdout.startswith("pause until ")
    assert daemon.status()["state"] == "pause"
    assert daemon.command("resume").stdout == "pause ended; the plan goes on\n"
    assert daemon.command("refill", "60L").stdout == "refill entered: 60 L of water\n"
    assert daemon.order(do="counts", name="pot_3")["counts"] == pytest.approx(380, abs=5)
    assert daemon.order(do="counts", name="pot_4")["text"] == "'pot_4' is on no converter"
    refused = daemon.command("clear")
    assert (refused.returncode, refused.stdout) == (1, "nothing is locked; other trips end by themselves\n")
    wrong = daemon.command("water", "soon")
    assert wrong.returncode == 2
    assert "write 4 min, 90 s or 1 h 30 min" in wrong.stderr


def test_what_the_bed_does_and_what_comes_next_stand_in_the_records_within_seconds(daemon: Daemon) -> None:
    daemon.start()
    (database,) = (daemon.folder / "state").rglob("terrace.db")

    def present() -> Present | None:
        with Reader(database) as reader:
            row = reader.present()
        return None if row is None else row.present

    until(
        lambda: (now := present()) is not None and now.state == "waiting" and now.wait is None, "a bed that waits"
    )
    told = daemon.status()["next"]
    assert present().next.start.isoformat() == told["start"]  # type: ignore[union-attr]
    daemon.order(do="pause", seconds=7200)
    until(lambda: (now := present()) is not None and now.state == "pause", "the pause", 5.0)
    status = daemon.status()
    assert as_json(present())["wait"] == status["wait"]  # type: ignore[arg-type]
    assert status["wait"]["reason"].startswith("pause by ")
    assert status["next"]["start"] >= status["standing"]["until"]
    daemon.order(do="resume")
    until(lambda: (now := present()) is not None and now.state == "waiting", "the end of the pause", 5.0)


# --- a new bed ----------------------------------------------------------------------------------


def test_a_new_bed_says_what_must_be_seen_and_a_person_may_stand_by(daemon: Daemon) -> None:
    daemon.start("--as-new")
    until(lambda: daemon.status()["to_be_seen"] == ["sump_low bad", "tray_high bad"], "both good states seen")
    assert [alert["kind"] for alert in daemon.status()["alerts"]] == ["not-commissioned"]
    assert not daemon.order(do="soak", seconds=3600)["ok"]

    site = SocketSite(lambda order: daemon.order(**order))
    until(lambda: site.look().held_by is None, "nothing in the way of a run")
    assert site.order("attend", 600.0) == (True, daemon.order(do="attend", seconds=600.0)["text"])
    assert site.order("water", 2.0) == (True, "running for 2 s")
    until(lambda: site.look().is_running, "the run")
    assert site.order("confirm") == (True, "confirmed")
    until(lambda: not site.look().is_running, "the end of the run")
    assert site.look().held_by == "the pump rests between two runs"
    assert site.counts("pot_3") == pytest.approx(380, abs=5)
    assert site.enter(Finding("run_back", Verdict.PASSED, "8 min", {"run_back": 480.0}))[0]
    assert site.enter(Finding("run_back", Verdict.PASSED, "8 min", {"colour": 480.0}))[0] is False
    assert site.order("resume") == (True, "attended ended; the plan goes on")
    daemon.end()

    told = daemon.command("history").stdout
    assert "commission" in told
    assert "passed, run_back: 8 min" in told


def test_a_new_bed_whose_file_accepts_it_waters_and_says_so_in_every_status(daemon: Daemon) -> None:
    daemon.file.write_text(FILE + "not_commissioned: accepted\n")
    daemon.start("--as-new")

    status = daemon.status()
    assert status["to_be_seen"] == []
    assert status["warnings"] == [
        "not commissioned, which the file accepts: nobody need have seen the floats in both states"
    ]
    assert "warning  not commissioned" in daemon.command("status").stdout


@pytest.mark.parametrize(
    ("mishap", "name"),
    [("broken-sump", "sump_low"), ("inverted-tray", "tray_high"), ("chattering-sump", "sump_low")],
)
def test_wiring_that_is_wrong_keeps_the_pump_off(daemon: Daemon, mishap: str, name: str) -> None:
    assert daemon.command("run", "--wrong", mishap).returncode == 2
    daemon.start("--wrong", mishap)
    until(lambda: daemon.status()["trips"], "a trip")
    seen = [daemon.status()["inputs"][name] for _ in range(20)]
    refused = daemon.order(do="water", seconds=5)

    assert "bad" in seen
    assert not refused["ok"]
    assert daemon.status()["held_by"] is not None
    assert daemon.status()["next"] is None
    told = daemon.command("status").stdout
    assert "  next     none yet\n  waits    " in told


def test_who_waits_for_a_change_hears_of_each_alert(daemon: Daemon) -> None:
    """An answer after 10 s has the count of the one before."""
    daemon.start()
    count = daemon.order(do="wait", since=0)["changes"]

    for name in ("mail", "push", "webhook"):
        assert daemon.order(do="channel", name=name, reason="away")["ok"]
        before, count = count, ask(daemon.socket, {"do": "wait", "since": count}, 12.0)["changes"]
        assert count != before
