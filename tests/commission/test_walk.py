"""The whole walk on a simulated bed: the real device classes and the real guard, with and without a mistake."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.settings.test_faults import SMALLEST

from waaler.cli.commission import _walk_of
from waaler.cli.main import main
from waaler.commission.parts import Finding, Hand, Question, Task, Verdict
from waaler.commission.simulated import SimulatedPerson, SimulatedSite
from waaler.commission.walk import commission, record
from waaler.core.facts import Cause, Deed, Outcome, RunIntent, RunResult
from waaler.devices.hands import Hands, with_mishap
from waaler.settings import Settings, parse

PINS = """\
limits: {settle_sump: 5 min, settle_tray: 5 min, run_back: 5 min}
layout: {pots: 14, outlet_flow: 54 L/h, line_holds: 1.5 L}
sensing:
  probes: [{name: pot_5, channel: 0, calibration: {dry: 820, wet: 380}}]
pins:
  relay: {gpio: 17}
  cutoff_relay: {gpio: 24}
  sump_low: {gpio: 27}
  tray_high: {gpio: 22}
  tray_wet: {gpio: 23}
  flow_meter: {gpio: 5, pulses_per_litre: 60, normal: 12.6 L/min}
  supply_sensed: {gpio: 25}
"""
TEXT = SMALLEST + PINS
STEPS = [
    "sump_low by hand", "sump_low without its wire", "tray_high by hand", "tray_high without its wire", "tray_wet",
    "pot_5", "relay", "outlets", "leak test", "run_back", "full mark", "flow_meter", "sump_low by water",
    "tray_high by water",
]  # fmt: skip


class Quiet:
    """A person who reads it all and says nothing."""

    def __init__(self) -> None:
        self.told: list[str] = []
        self.tasks: list[Task] = []

    def tell(self, text: str) -> None:
        self.told.append(text)

    def do(self, task: Task) -> None:
        self.tasks.append(task)

    def sees(self, question: Question, words: str) -> bool:
        raise AssertionError("the simulation answers")

    def litres(self, words: str) -> float | None:
        raise AssertionError("the simulation answers")

    def stands_by(self) -> bool:
        return True


class Walked:
    def __init__(
        self,
        text: str,
        hands: Hands,
        seldom: type[SimulatedPerson] = SimulatedPerson,
        site: type[SimulatedSite] = SimulatedSite,
    ) -> None:
        self.settings: Settings = parse(text, "t.yaml")
        self.site = site(self.settings, hands)
        self.quiet = Quiet()
        person = seldom(self.site, self.quiet)
        self.findings: list[Finding] = commission(_walk_of(self.settings, self.site, person))
        self.site.close()

    def of(self, step: str) -> Finding:
        return next(finding for finding in self.findings if finding.step == step)

    @property
    def failed(self) -> list[str]:
        return [finding.step for finding in self.findings if finding.verdict is Verdict.FAILED]


@pytest.fixture(scope="module")
def right() -> Walked:
    return Walked(TEXT, Hands())


# --- mistakes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mishap", "words"),
    [
        ("swapped-floats", "SWAPPED: moving the sump's float changed tray_high"),
        ("inverted-sump", "INVERTED: the sump's float"),
        ("inverted-tray", "INVERTED: the tray's float"),
        ("broken-sump", "the sump's float reads bad whatever"),
        ("broken-tray", "the tray's float reads bad whatever"),
        ("chattering-sump", "the sump's float does not read steadily"),
    ],
)
def test_a_mistake_is_named_and_no_water_moves_before_it_is_right(mishap: str, words: str) -> None:
    walked = Walked(TEXT, with_mishap(mishap))

    assert any(finding.text.startswith(words) for finding in walked.findings)
    assert walked.findings[-1].text == "not tried: a float is wrong, and the pump must not run before it is right"
    assert walked.site.bed.water.lifted_l == 0.0
    assert not [fact for fact in walked.site.facts if isinstance(fact, RunIntent)]


def test_a_meter_with_the_wrong_factor_is_told_the_right_one() -> None:
    walked = Walked(TEXT, Hands(), seldom=_poured_double())

    assert walked.failed == ["flow_meter"]
    assert walked.of("flow_meter").text.endswith("write `pulses_per_litre: 30`")


def _poured_double() -> type[SimulatedPerson]:
    class Double(SimulatedPerson):
        def litres(self, words: str) -> float | None:
            return 2 * (super().litres(words) or 0.0)

    return Double


def test_a_drain_slower_than_the_file_says_is_told() -> None:
    walked = Walked(TEXT.replace("run_back: 5 min", "run_back: 1 min"), Hands())

    assert walked.failed == ["run_back"]
    assert "longer than the file has: write `run_back: 4 min` under limits" in walked.of("run_back").text


def test_a_run_that_nobody_confirms_is_cut() -> None:
    class Gone(SimulatedPerson):
        def stands_by(self) -> bool:
            return False

    walked = Walked(TEXT, Hands(), seldom=Gone)
    results = [fact for fact in walked.site.facts if isinstance(fact, RunResult)]

    assert walked.of("tray_high by water").verdict is Verdict.LEFT_OUT
    assert any(result.outcome is Outcome.STOPPED for result in results)


def test_a_finding_that_the_bed_does_not_take_is_told_to_the_person() -> None:
    class Deaf(SimulatedSite):
        def enter(self, finding: Finding) -> tuple[bool, str]:
            return False, "history is not being kept"

    walked = Walked(TEXT, Hands(), site=Deaf)

    told = [text for text in walked.quiet.told if text.startswith("NOT WRITTEN")]
    assert told == len(walked.findings) * ["NOT WRITTEN into the bed's history: history is not being kept"]


def test_a_float_that_is_not_fitted_is_left_out() -> None:
    walked = Walked(TEXT.replace("tray_high: {gpio: 22}", "tray_high: none") + "no_tray_float: accepted\n", Hands())

    assert walked.failed == []
    assert walked.of("tray_high by hand").verdict is Verdict.LEFT_OUT


# --- a bed that is right --------------------------------------------------------------------------


def test_every_part_of_a_right_bed_passes(right: Walked) -> None:
    assert [finding.step for finding in right.findings] == STEPS
    assert right.failed == []
    assert right.of("relay").text == "clicks on and off, and the sensed supply follows"


def test_the_pump_is_unplugged_first_and_both_floats_stop_it_by_water(right: Walked) -> None:
    hands = [task.hand for task in right.quiet.tasks]
    results = [fact for fact in right.site.facts if isinstance(fact, RunResult)]

    assert hands[0] is Hand.UNPLUG
    assert hands.index(Hand.PLUG) < hands.index(Hand.WAIT_DRAINED) < hands.index(Hand.DRAW_DOWN)
    assert [r.reason for r in results if r.outcome is Outcome.CUT_SHORT] == [
        "sump low",
        "tray too full: is the drain blocked?",
    ]
    assert right.site.bed.water.spilled_l == 0.0


def test_every_run_was_attended_and_none_was_refused(right: Walked) -> None:
    intents = [fact for fact in right.site.facts if isinstance(fact, RunIntent)]
    results = [fact for fact in right.site.facts if isinstance(fact, RunResult)]

    assert {intent.cause for intent in intents} <= {Cause.ATTENDED, Cause.PLAN}
    assert Outcome.REFUSED not in {result.outcome for result in results}


def test_the_bed_is_armed_afterwards_and_the_history_has_every_line(right: Walked) -> None:
    lines = [fact for fact in right.site.facts if isinstance(fact, Deed) and fact.what == "commission"]

    assert right.site.is_armed
    assert [line.text.split(": ")[0] for line in lines] == [f"passed, {step}" for step in STEPS]
    (kept,) = [amount for line in lines for amount in line.amounts]
    assert (kept.name, kept.unit) == ("run_back", "s")
    assert 120 < kept.value < 1200


def test_the_record_fits_80_columns_and_names_what_failed() -> None:
    long = Finding("tray_high without its wire", Verdict.FAILED, "words " * 60)
    text = record("South tunnel (tunnel-south)", "2026-06-21 10:00", [long, replace(long, verdict=Verdict.PASSED)])

    assert max(map(len, text.splitlines())) <= 80
    assert "1 to be put right; then walk again." in text


def test_the_walk_at_the_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.yaml").write_text(TEXT)
    words = ["commission", "--simulated", "--json", "--wrong", "swapped-floats", "t.yaml"]
    result = CliRunner().invoke(main, words, input="\n" * 100)

    assert result.exit_code == 1
    told = json.loads(result.stdout)
    assert not told["is_right"]
    assert told["findings"][0]["text"].startswith("SWAPPED")
    assert "sump_low must" in result.stderr
    assert max(map(len, result.stderr.splitlines())) <= 80
    for refused in (["--wrong", "nothing"], ["--yes"], ["--wrong", "swapped-floats"]):
        assert CliRunner().invoke(main, ["commission", *refused, "t.yaml"]).exit_code == 2
