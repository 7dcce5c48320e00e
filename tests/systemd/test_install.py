"""The installer: what it refuses, what it leaves alone, and how it takes over."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.systemd.machine import IDLE, RUNS, SOON, Machine


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words", [("--bed",), ("--bed", "Terrace"), ("--bed", "a" * 32), ("--wheels", "/none"), ("--x",)]
)
def test_an_option_that_makes_no_sense_changes_nothing(machine: Machine, words: tuple[str, ...]) -> None:
    done = machine.install(*words)

    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert machine.files() == set()


def test_a_python_without_venv_is_refused_with_what_to_install(machine: Machine) -> None:
    done = machine.install(NO_VENV="1")

    assert (done.returncode, done.stderr) == (1, "install: python3 has no venv module: apt install python3-venv\n")


def test_a_machine_for_which_there_is_no_lgpio_is_told_where_to_get_it(machine: Machine) -> None:
    done = machine.install(NO_WHEEL="1")

    assert done.returncode == 1
    assert (
        done.stderr == "install: there is no lgpio for this machine: apt install python3-lgpio, or give --no-gpio\n"
    )


def test_an_lgpio_that_is_an_empty_shell_is_not_installed(machine: Machine) -> None:
    done = machine.install(LGPIO_IS_EMPTY="1")

    assert done.returncode == 1
    assert "lgpio was installed but is an empty shell" in done.stderr
    assert (machine.linked("current"), machine.venvs()) == (None, 0)


def test_a_download_that_fails_leaves_the_version_that_runs(machine: Machine) -> None:
    machine.bed("terrace", is_active=True)
    machine.install()
    machine.version("2")

    done = machine.install(PIP_FAILS="1")

    assert done.returncode != 0
    assert (machine.linked("current"), machine.venvs(), machine.calls) == ("1", 1, [])


def test_a_version_that_could_not_go_on_with_a_bed_that_runs_is_refused(machine: Machine) -> None:
    machine.bed("terrace", "OLD", is_active=True)
    machine.install()
    machine.version("2")

    done = machine.install()

    assert done.returncode == 1
    assert "terrace.yaml:1:1: it is bad; write it well" in done.stdout
    assert "terrace runs, and this version could not go on with it; nothing was changed" in done.stderr
    assert (machine.linked("current"), machine.venvs(), machine.calls) == ("1", 1, [])


def test_a_bed_whose_file_fails_the_check_is_not_started(machine: Machine) -> None:
    machine.bed("bad", "BAD")
    machine.bed("good")

    done = machine.install()

    assert done.returncode == 0
    assert "bad: not started: its file fails the check above" in done.stdout
    assert "systemctl restart waaler@good" in machine.calls
    assert not [call for call in machine.calls if "waaler@bad" in call]


def test_a_unit_that_does_not_start_is_told_and_the_others_are_started_all_the_same(machine: Machine) -> None:
    machine.bed("one")
    machine.bed("two")

    done = machine.install(WILL_NOT_START="waaler@one")

    assert done.returncode == 1
    assert "waaler@one DID NOT START: journalctl -u waaler@one says why" in done.stdout
    assert "systemctl restart waaler@two" in machine.calls


def test_going_back_to_a_version_that_does_not_know_the_records_says_where_the_old_ones_are(
    machine: Machine,
) -> None:
    machine.bed("terrace", "good")
    machine.install()
    machine.version("2")
    machine.install()
    machine.bed("terrace", "BAD", is_active=True)
    copy = machine.root / "var/lib/waaler/terrace/terrace.db.schema-1"
    copy.parent.mkdir(parents=True)
    copy.touch()

    done = machine.install("--rollback")

    assert done.returncode == 1
    assert (
        f"the records as older versions left them: {copy}; stop the unit, and move one to terrace.db" in done.stdout
    )
    assert machine.linked("current") == "2"


def test_a_dry_run_says_each_step_and_takes_none(machine: Machine) -> None:
    done = machine.install("--dry-run", "--bed", "terrace")

    assert done.returncode == 0
    assert "systemd-tmpfiles" in done.stdout
    assert (machine.files(), machine.calls) == (set(), [])


def test_going_back_without_a_version_before_is_refused(machine: Machine) -> None:
    machine.install()

    assert machine.install("--rollback").returncode == 1
    assert machine.linked("current") == "1"


# --- installing -------------------------------------------------------------------------------


def test_a_first_install_brings_users_units_and_the_command_and_starts_a_bed_that_is_there(
    machine: Machine,
) -> None:
    machine.bed("terrace")

    done = machine.install()

    assert (done.returncode, done.stderr) == (0, "")
    assert {
        "etc/systemd/system/waaler@.service",
        "etc/systemd/system/waaler-notify@.service",
        "etc/systemd/system/waaler-page.service",
        "etc/sysusers.d/waaler.conf",
        "etc/tmpfiles.d/waaler.conf",
        "usr/local/bin/waaler",
        "usr/local/share/zsh/site-functions/_waaler",
    } <= machine.files()
    assert [call.removeprefix("systemctl ").removeprefix("--quiet ") for call in machine.calls] == [
        "systemd-sysusers",
        "systemd-tmpfiles",
        "daemon-reload",
        "enable waaler@terrace",
        "restart waaler@terrace",
        "enable waaler-notify@terrace",
        "restart waaler-notify@terrace",
        "enable waaler-page",
        "restart waaler-page",
    ]


def test_a_file_begun_from_the_example_is_not_started_before_it_was_edited(machine: Machine) -> None:
    done = machine.install("--bed", "terrace")

    assert "edit it, then run this again to start it" in done.stdout
    assert (machine.root / "etc/waaler/terrace.yaml").read_text() == "bed: terrace\nplan: []\n"
    assert not [call for call in machine.calls if "restart" in call]


def test_a_file_that_is_still_the_example_is_never_started(machine: Machine) -> None:
    machine.install("--bed", "terrace")

    done = machine.install()

    assert "terrace: not started: " in done.stdout
    assert "is still the example, whose plan and pins are invented" in done.stdout
    assert not [call for call in machine.calls if "restart waaler@" in call]


def test_a_bed_s_file_is_never_overwritten(machine: Machine) -> None:
    path = machine.bed("terrace", "mine")

    machine.install("--bed", "terrace")

    assert path.read_text() == "mine"


def test_installing_the_same_again_changes_nothing_and_restarts_nothing(machine: Machine) -> None:
    machine.bed("terrace")
    machine.install()
    machine.bed("terrace", is_active=True)
    machine.runs("waaler-page")
    before = machine.files()

    done = machine.install()

    assert "version" in done.stdout
    assert "is installed already" in done.stdout
    assert machine.files() == before
    assert machine.calls == ["systemd-sysusers", "systemd-tmpfiles", "systemctl daemon-reload"]


def test_from_a_folder_of_wheels_nothing_comes_from_a_network(machine: Machine, tmp_path: Path) -> None:
    wheels = tmp_path / "tools" / "wheels"
    wheels.mkdir()
    for name in ("waaler-0.9.0-py3-none-any.whl", "waaler-0.10.0-py3-none-any.whl", "lgpio-0.2.2.0-cp311-any.whl"):
        (wheels / name).write_text("1")

    done = machine.install("--wheels", str(wheels), NO_WHEEL="1")

    assert done.returncode == 0
    assert "for version 0.10.0" in done.stdout
    assert len(machine.pip_calls) == 1
    assert (
        f"install {wheels}/waaler-0.10.0-py3-none-any.whl[pi,page] --no-index --find-links {wheels}"
        in machine.pip_calls[0]
    )


def test_the_system_s_lgpio_is_taken_where_there_is_one(machine: Machine) -> None:
    machine.install(NO_SYSTEM_LGPIO="0")

    assert machine.pip_calls[-1].endswith("[i2c,page]")


def test_push_messages_are_brought_once_asked_for_and_kept_by_an_upgrade(machine: Machine) -> None:
    machine.install("--push")
    assert machine.pip_calls[-1].endswith("[pi,page,push]")

    machine.version("2")
    machine.install(NO_PUSH="0")

    assert machine.pip_calls[-1].endswith("[pi,page,push]")


# --- upgrading --------------------------------------------------------------------------------


def test_an_upgrade_keeps_one_version_before_and_goes_back_to_it(machine: Machine) -> None:
    for version in ("1", "2", "3"):
        machine.version(version)
        machine.install()

    assert (machine.linked("current"), machine.linked("previous"), machine.venvs()) == ("3", "2", 2)

    assert machine.install("--rollback").returncode == 0
    assert (machine.linked("current"), machine.linked("previous")) == ("2", "3")


@pytest.mark.parametrize("busy", [RUNS, SOON])
@pytest.mark.parametrize("words", [(), ("--uninstall",)])
def test_water_that_runs_or_is_about_to_is_waited_for(machine: Machine, busy: str, words: tuple[str, ...]) -> None:
    machine.bed("terrace", is_active=True)
    machine.install()
    machine.version("2")
    machine.status(busy, IDLE)

    done = machine.install(*words)

    assert done.returncode == 0
    assert "water runs or is about to; waiting for its end" in done.stdout
    assert machine.calls[0] == "sleep"


def test_water_is_not_waited_for_if_told_so(machine: Machine) -> None:
    machine.bed("terrace", is_active=True)
    machine.install()
    machine.version("2")
    machine.status(RUNS)

    assert machine.install("--now").returncode == 0
    assert "sleep" not in machine.calls
    assert "systemctl restart waaler@terrace" in machine.calls


def test_uninstalling_keeps_files_and_records(machine: Machine) -> None:
    bed = machine.bed("terrace", is_active=True)
    machine.install()
    records = machine.root / "var/lib/waaler/terrace/terrace.db"
    records.parent.mkdir(parents=True)
    records.write_text("records")

    assert machine.install("--uninstall").returncode == 0

    assert bed.exists()
    assert records.exists()
    assert {
        name
        for name in machine.files()
        if name.startswith(("opt/waaler", "etc/s", "etc/tmp", "usr/local/bin/")) or name.endswith("_waaler")
    } <= {
        "etc/systemd",
        "etc/systemd/system",
        "etc/sysusers.d",
        "etc/tmpfiles.d",
    }
    assert "systemctl --quiet disable --now waaler@terrace" in machine.calls


def test_a_bed_whose_file_was_renamed_is_stopped_all_the_same(machine: Machine) -> None:
    """Else it would go on without its programs, and without its stop-post command."""
    bed = machine.bed("terrace")
    machine.install()
    bed.rename(bed.with_name("terrace.yaml.bak"))

    assert machine.install("--uninstall").returncode == 0

    assert "systemctl --quiet disable --now waaler@terrace" in machine.calls
    assert "systemctl --quiet disable --now waaler-notify@terrace" in machine.calls
    assert machine.running == {}


# --- two files, one bed -------------------------------------------------------------------------


def test_a_copy_of_a_bed_s_file_beside_it_is_no_second_bed(machine: Machine) -> None:
    machine.bed("terrace", "bed: terrace\n")
    copy = machine.bed("terrace-old", 'bed: "terrace"  # before the new pump\n')

    done = machine.install()

    assert f"{copy} names the bed terrace, not terrace-old: it is not started; move it elsewhere" in done.stdout
    assert sorted(machine.running) == ["waaler-notify@terrace", "waaler-page", "waaler@terrace"]
    assert not [call for call in machine.calls if "terrace-old" in call]


def test_a_bed_with_the_pins_of_another_is_not_started_and_one_that_runs_is_left_alone(machine: Machine) -> None:
    machine.bed("terrace", "bed: terrace\n")
    machine.install()
    machine.bed("terrace", "bed: terrace SAME\n")
    machine.bed("second", "bed: second SAME\n")
    machine.version("2")

    done = machine.install()

    assert "second.yaml:1:1: the pins of another" in done.stdout
    assert "second: not started: another file of" in done.stdout
    assert machine.running["waaler@terrace"] == "2"
    assert "waaler@second" not in machine.running


# --- killed and repeated --------------------------------------------------------------------------


def test_two_at_once_are_one_too_many(machine: Machine) -> None:
    machine.bed("terrace", is_active=True)
    machine.install()
    machine.version("2")
    (machine.root / "opt").mkdir(exist_ok=True)
    with _held(machine.root / "opt"):
        done = machine.install()

    assert (done.returncode, done.stderr) == (1, "install: another install runs; wait for its end\n")
    assert (machine.linked("current"), machine.calls) == ("1", [])
    assert machine.install().returncode == 0


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    handle = os.open(folder, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        os.close(handle)


def test_what_runs_is_told_by_what_was_started_and_not_by_what_was_installed(machine: Machine) -> None:
    machine.bed("terrace")
    machine.install()
    machine.version("2")
    machine.install(WILL_NOT_START="waaler@terrace")

    done = machine.install()

    assert "is installed already" in done.stdout
    assert "systemctl restart waaler@terrace" in machine.calls
    assert machine.running["waaler@terrace"] == "2"
    assert "- runs: waaler@terrace from 0.1.0-" in done.stdout


def killed_everywhere(machine: Machine, *words: str) -> Iterator[Machine]:
    """Copies of the machine on which the action was killed behind its first step, its second, and so on."""
    for step in range(1, 200):
        root = machine.root.with_name(f"step-{step}")
        shutil.copytree(machine.root, root, symlinks=True)
        copy = Machine(root, is_new=False)
        if copy.install(*words, KILLED_AFTER=str(step)).returncode != -9:
            assert step > 10, "some steps were seen"
            return
        yield copy
        shutil.rmtree(root)


def repeated(machine: Machine, *words: str) -> None:
    done = machine.install(*words)
    assert done.returncode == 0, done.stdout + done.stderr
    assert not [name for name in machine.files() if ".new" in name or "going-back" in name], "left over"


RUNNING = {"waaler@terrace", "waaler-notify@terrace", "waaler-page"}


@pytest.fixture
def kept(tmp_path: Path) -> Machine:
    """A machine with a bed, in a folder that others may stand beside."""
    (tmp_path / "kept").mkdir()
    machine = Machine(tmp_path / "kept")
    machine.bed("terrace")
    return machine


@pytest.mark.long
def test_a_first_install_killed_after_any_step_is_ended_by_the_next(kept: Machine) -> None:
    for machine in killed_everywhere(kept):
        repeated(machine)

        assert (machine.linked("current"), machine.venvs()) == ("1", 1)
        assert machine.running == dict.fromkeys(RUNNING, "1")


def test_an_upgrade_killed_after_any_step_is_ended_by_the_next(kept: Machine) -> None:
    for version in ("0", "1"):
        kept.version(version)
        kept.install()
    kept.version("2")

    for machine in killed_everywhere(kept):
        repeated(machine)

        assert (machine.linked("current"), machine.linked("previous"), machine.venvs()) == ("2", "1", 2)
        assert machine.running == dict.fromkeys(RUNNING, "2")


@pytest.mark.long
def test_going_back_killed_after_any_step_is_ended_by_the_next_and_not_turned_around(kept: Machine) -> None:
    kept.install()
    kept.version("2")
    kept.install()

    for machine in killed_everywhere(kept, "--rollback"):
        is_done = machine.linked("current") == "1" and "opt/waaler/going-back" not in machine.files()
        if not is_done:
            repeated(machine, "--rollback")

        assert (machine.linked("current"), machine.linked("previous")) == ("1", "2")
        assert machine.running == dict.fromkeys(RUNNING, "1")


def test_uninstalling_killed_after_any_step_is_ended_by_the_next(kept: Machine) -> None:
    kept.install()

    for machine in killed_everywhere(kept, "--uninstall"):
        repeated(machine, "--uninstall")

        assert machine.running == {}
        assert not [name for name in machine.files() if name.startswith(("opt/waaler", "usr/local/bin/waaler"))]
        assert not [name for name in machine.files() if name.endswith(".service")]
        assert (machine.root / "etc/waaler/terrace.yaml").exists()
