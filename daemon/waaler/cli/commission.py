"""The guided walk through a new bed."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from select import select
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import (
    Mishap,
    daemon_socket,
    echo,
    echo_json,
    file_argument,
    json_option,
    read_settings,
    refuse,
)  # fmt: skip

if TYPE_CHECKING:
    from waaler.commission.parts import Finding, Person, Question, Site, Task
    from waaler.commission.walking import Walk
    from waaler.settings import Settings

__all__ = ["command"]

ANSWER_S = 30.0
DAEMON_WAIT_S, ASK_WAIT_S = 15.0, 6.0
WIDTH = 80
DIES_WITH_PARENT = 1
"""PR_SET_PDEATHSIG of prctl(2)."""


@click.command("commission")
@click.option("--simulated", is_flag=True, help="On a simulated bed that does what you are asked to do.")
@click.option("--wrong", type=Mishap(), help="Simulated, with a mistake to be found, such as swapped-floats.")
@click.option("--yes", is_flag=True, help="Simulated, without waiting for Enter.")
@json_option
@file_argument
def command(simulated: bool, wrong: str | None, yes: bool, as_json: bool, file: Path | None) -> None:
    """Walk through a new bed, pump unplugged and then plugged, and keep the record.

    Every input is moved by hand and must read what it then has to; relays, probes, meter, outlets and drain follow,
    and both floats stop the pump by water itself. Takes about two hours: after each stop the guard waits until the
    water has settled. A daemon that runs is used; without one it is started for the walk.

    Mains and water: see hardware/cautions.md first. Pull the pump's plug before you reach in.

    Example: waaler commission --simulated --wrong swapped-floats
    """
    if (wrong is not None or yes) and not simulated:
        raise click.UsageError("--wrong and --yes go with --simulated")
    settings = read_settings(file)
    with _simulated(settings, wrong, yes) if simulated else _real(file, settings) as (site, person):
        findings = _walk(settings, site, person)
    _tell(settings, findings, simulated, as_json)


def _walk(settings: "Settings", site: "Site", person: "Person") -> "list[Finding]":
    from waaler.commission.walk import commission

    try:
        return commission(_walk_of(settings, site, person))
    except (OSError, ValueError):
        refuse("the daemon does not answer any more; the relay is off with its end. Begin again once it runs")
    except (KeyboardInterrupt, click.Abort):
        refuse("broken off; the run was stopped, and what was found is in the history")


def _walk_of(settings: "Settings", site: "Site", person: "Person") -> "Walk":
    from waaler.commission.walking import Walk
    from waaler.settings.pinning import pin_name, uses

    limits, meter = settings.limits, settings.wiring.flow
    settle_s = max(limits.settle_sump_s, limits.settle_tray_s, limits.run_back_s)
    return Walk(
        site,
        person,
        longest_run_s=limits.longest_run_s,
        run_back_s=limits.run_back_s,
        answers_s=settle_s + limits.start_delay_s + 600.0,
        back_l=settings.figures.line_l + settings.figures.pump_l_per_min,
        pins={use.name: pin_name(use.gpio) for use in uses(settings.file)},
        probes={p.name: float(p.source.converter.full_counts) for p in settings.wiring.probes},
        has_cutoff=limits.has_cutoff,
        pulses_per_l=None if meter is None else meter.pulses_per_l,
    )


def _tell(settings: "Settings", findings: "list[Finding]", is_simulated: bool, as_json: bool) -> None:
    from waaler.commission.parts import Verdict
    from waaler.commission.walk import record

    now = datetime.now().astimezone().replace(microsecond=0)
    is_right = not any(finding.verdict is Verdict.FAILED for finding in findings)
    if as_json:
        rows = [
            {"step": f.step, "verdict": f.verdict.value, "text": f.text, "amounts": dict(f.amounts)}
            for f in findings
        ]
        echo_json({"bed": settings.id, "at": now.isoformat(), "is_right": is_right, "findings": rows})
    else:
        kept = "simulated, not kept" if is_simulated else "kept in the history"
        echo(
            "\n" + record(f"{settings.title} ({settings.id})", f"{now:%Y-%m-%d %H:%M}, {kept}", findings), nl=False
        )
    sys.exit(0 if is_right else 1)


# --- the bed --------------------------------------------------------------------------------------


@contextmanager
def _simulated(settings: "Settings", wrong: str | None, is_quick: bool) -> "Iterator[tuple[Site, Person]]":
    from waaler.commission.simulated import SimulatedPerson, SimulatedSite
    from waaler.devices.hands import Hands, with_mishap

    site = SimulatedSite(settings, Hands() if wrong is None else with_mishap(wrong))
    try:
        yield site, SimulatedPerson(site, Terminal(is_quick))
    finally:
        site.close()


@contextmanager
def _real(file: Path | None, settings: "Settings") -> "Iterator[tuple[Site, Person]]":
    """The daemon's bed; a daemon of our own ends with the walk."""
    from waaler.commission.by_socket import SocketSite
    from waaler.notify.asking import ask

    _, path = daemon_socket(file)

    def put(order: Mapping[str, object]) -> dict[str, Any]:
        return ask(path, order, ASK_WAIT_S)

    child = None if _answers(path) else _start(settings, path)
    try:
        yield SocketSite(put), Terminal()
    finally:
        if child is not None:
            child.terminate()
            child.wait(timeout=DAEMON_WAIT_S)


def _answers(path: Path) -> bool:
    from waaler.notify.asking import ask

    try:
        return bool(ask(path, {"do": "status"}).get("ok"))
    except (OSError, ValueError):
        return False


def _start(settings: "Settings", path: Path) -> "subprocess.Popen[bytes]":
    """`waaler run`, which ends when this process does, however that ends."""
    from time import monotonic, sleep

    words = [sys.executable, "-m", "waaler.cli.main", "run", settings.source.name]
    child = subprocess.Popen(words, preexec_fn=_die_with_parent, stdin=subprocess.DEVNULL)
    end_s = monotonic() + DAEMON_WAIT_S
    while not _answers(path):
        if child.poll() is not None:
            refuse("the daemon cannot be started for the walk, see above; or try --simulated")
        if monotonic() > end_s:
            child.terminate()
            refuse("the daemon does not answer; look at its log")
        sleep(0.2)
    return child


def _die_with_parent() -> None:
    import ctypes

    ctypes.CDLL(None).prctl(DIES_WITH_PARENT, signal.SIGTERM)
    os.setpgid(0, 0)  # Ctrl-C is for the walk, which then ends the daemon in order


# --- the person -----------------------------------------------------------------------------------


class Terminal:
    """is_quick: nobody is asked for Enter."""

    def __init__(self, is_quick: bool = False) -> None:
        self._is_quick = is_quick

    def tell(self, text: str) -> None:
        for line in wrap(text, WIDTH - 2, initial_indent="  ", subsequent_indent="    "):
            echo(line, err=True)

    def do(self, task: "Task") -> None:
        for line in wrap(f"{task.words}.", WIDTH - 8, initial_indent="> ", subsequent_indent="  "):
            echo(line, err=True)
        if not self._is_quick:
            click.prompt("  [Enter]", default="", show_default=False, prompt_suffix=" ", err=True)

    def sees(self, question: "Question", words: str) -> bool:  # noqa: ARG002
        return click.confirm(f"> {words}", default=None, err=True)

    def litres(self, words: str) -> float | None:
        while True:
            text = click.prompt(
                f"> {words} (such as 6.2; Enter if not measured)", default="", show_default=False, err=True
            )
            if not text.strip():
                return None
            try:
                return float(text.replace(",", ".").removesuffix("L").strip())
            except ValueError:
                self.tell("write a number")

    def stands_by(self) -> bool:
        echo(f"> Do you still stand by? [Enter within {ANSWER_S:.0f} s] ", nl=False, err=True)
        ready, _, _ = select([sys.stdin], [], [], ANSWER_S)
        return bool(ready) and sys.stdin.readline() != ""
