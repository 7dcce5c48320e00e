"""What is said of an edited file, word for word, and what of it waits."""

from pathlib import Path

import pytest
from tests.settings.test_faults import SMALLEST

from waaler.core.alert import AlertKind, Severity, Words
from waaler.core.messages import NewPlan, Notice
from waaler.keeper.reload import Reloader
from waaler.settings import parse

PROBE = "sensing: {probes: [{name: pot_3, channel: 0}]}\n"


class Bench:
    """A file and its reload."""

    def __init__(self, folder: Path, text: str, has_unit: bool = True) -> None:
        self.path = folder / "terrace.yaml"
        self.has_notifier = False
        self.reloader = Reloader(
            self.path, parse(text, "t"), has_unit=has_unit, has_notifier=lambda: self.has_notifier
        )

    def edit(self, text: str) -> tuple[tuple[str, ...], Notice]:
        """The lines of what changed, and what waits for a restart."""
        self.path.write_text(text)
        end, plan, waiting = self.reloader.take()
        assert end == Notice(AlertKind.PLAN_REJECTED)
        assert isinstance(plan, NewPlan)
        self.plan = plan
        assert isinstance(waiting, Notice)
        return plan.changes, waiting


def words(notice: Notice) -> Words:
    assert isinstance(notice.about, Words)
    return notice.about


def test_a_bad_edit_changes_nothing_but_an_alert(tmp_path: Path) -> None:
    bench = Bench(tmp_path, SMALLEST)
    before = bench.reloader.present
    bench.path.write_text("bed: [\n")

    (notice,) = bench.reloader.take()

    assert bench.reloader.present is before
    assert isinstance(notice, Notice)
    assert (notice.kind, notice.severity) == (AlertKind.PLAN_REJECTED, Severity.SOON)
    assert words(notice).did == "The plan before it stays in force."


@pytest.mark.parametrize(
    ("before", "after", "lines"),
    [
        ("cycles: 4", "cycles: 5", ["plan.early.cycles: 4 -> 5"]),
        ("water: 2 min", "water: 120 s", ["the file says the same in other words"]),
        ("window: early", "window: dawn", ["plan.early.window: early -> dawn"]),
        ("", "limits: {rest: 4 min}\n", ["limits.rest: 300 s -> 4 min"]),
        ("", "title: Terrace\n", ["title: not given -> Terrace"]),
        ("", "layout: {sump: {low: 50 L}}\n", ["layout.sump.low: 45 L -> 50 L"]),
        ("", "hot_day: {above: 32 C, extra_cycles: 2}\n",
         ["hot_day: not given -> {above: 32 C, extra_cycles: 2}"]),
        ("", "care: {renew_after: 30 d}\n", ["care.renew_after: 504 h -> 30 d"]),
        ("", "crops: [{name: beans, planted: 2026-05-20, canopy: 0.15 m2, stages: [20, 30, 30, 10],"
         " kc: [1.05, 0.9]}]\n",
         ["crops.beans: not given -> {name: beans, planted: 2026-05-20, canopy: 0.15 m2, stages: [20, 30, 30, 10],"
          " kc: [1.05, 0.9]}"]),
        ("    water: 2 min\n", "    water: 2 min\n  - {window: late, at: ['21:00'], water: 50 min}\n",
         ["plan.late: not given -> {window: late, at: [21:00], water: 50 min}",
          "limits.most_per_day, worked out: 60 min -> 232 min"]),
        ("", "webhooks: [{url: 'https://example.org/s3cret'}]\n",
         ["webhooks.webhook: not given -> {url: ...}"]),
    ],
)  # fmt: skip
def test_each_change_is_told_in_the_words_of_the_file(
    tmp_path: Path, before: str, after: str, lines: list[str]
) -> None:
    bench = Bench(tmp_path, SMALLEST, has_unit=False)

    changes, waiting = bench.edit(SMALLEST.replace(before, after) if before else SMALLEST + after)

    assert list(changes) == lines
    assert waiting == Notice(AlertKind.RESTART_NEEDED)


def test_what_follows_from_a_change_is_told_with_it(tmp_path: Path) -> None:
    text = SMALLEST.replace("2 min", "250 mL per pot") + "layout: {outlet_flow: 54 L/h}\n"

    changes, _ = Bench(tmp_path, text).edit(text.replace("54 L/h", "27 L/h"))

    assert changes == (
        "layout.outlet_flow: 54 L/h -> 27 L/h",
        "limits.longest_run, worked out: 5.16 min -> 10 min",
        "plan.early.water, worked out: 24 s -> 48 s",
    )


def test_a_secret_address_stands_in_no_message(tmp_path: Path) -> None:
    text = SMALLEST + "heartbeat: {url: 'https://example.org/one'}\n"

    changes, _ = Bench(tmp_path, text).edit(text.replace("/one'", "/two'"))

    assert changes == ("heartbeat.url: ... -> ...",)


def test_whoever_is_called_first_is_a_change_too(tmp_path: Path) -> None:
    text = SMALLEST + "contacts: [{name: Ann}, {name: Bor}]\n"

    changes, _ = Bench(tmp_path, text).edit(text.replace("{name: Ann}, {name: Bor}", "{name: Bor}, {name: Ann}"))

    assert changes == ("contacts: Ann, Bor -> Bor, Ann",)


def test_what_waits_for_a_restart_is_named_with_the_unit_until_it_is_taken_back(tmp_path: Path) -> None:
    bench = Bench(tmp_path, SMALLEST + PROBE)

    changes, waiting = bench.edit(SMALLEST + PROBE.replace("channel: 0", "channel: 1"))
    _, still = bench.edit(SMALLEST.replace("cycles: 4", "cycles: 5") + PROBE.replace("channel: 0", "channel: 1"))
    _, over = bench.edit(SMALLEST + PROBE)

    assert changes == ("sensing.probes.pot_3.channel: 0 -> 1 (at the daemon's next start)",)
    for notice in (waiting, still):
        assert (notice.kind, notice.severity) == (AlertKind.RESTART_NEEDED, Severity.NOTE)
        assert words(notice).what == "Not in force yet: sensing.probes.pot_3.channel."
        assert words(notice).now == "Restart the daemon when it suits: `systemctl restart waaler@terrace`."
    assert over == Notice(AlertKind.RESTART_NEEDED)


def test_another_id_is_another_bed(tmp_path: Path) -> None:
    _, waiting = Bench(tmp_path, SMALLEST).edit(SMALLEST.replace("bed: terrace", "bed: roof"))

    assert words(waiting).now == (
        "Another id is another bed: write `bed: terrace` again, or call the file roof.yaml and start its own units,"
        " `systemctl start waaler@roof waaler-notify@roof`, then `systemctl restart waaler-page`."
    )


def test_a_bed_that_told_nobody_needs_its_notifier_started(tmp_path: Path) -> None:
    _, waiting = Bench(tmp_path, SMALLEST).edit(SMALLEST + "mqtt: {host: localhost}\n")

    assert words(waiting).what == "Not in force yet: messages."
    assert words(waiting).now == "Start the notifier: `systemctl start waaler-notify@terrace`."


def test_that_the_notifier_must_be_started_ends_once_it_runs_and_comes_again_if_it_ends(tmp_path: Path) -> None:
    bench = Bench(tmp_path, SMALLEST)
    _, waiting = bench.edit(SMALLEST + "mqtt: {host: localhost}\n")
    assert bench.reloader.look() == []

    bench.has_notifier = True
    assert bench.reloader.look() == [Notice(AlertKind.RESTART_NEEDED)]
    assert bench.reloader.look() == []
    _, other = bench.edit(SMALLEST + "mqtt: {host: localhost, port: 1884}\n")
    assert other == Notice(AlertKind.RESTART_NEEDED)

    bench.has_notifier = False
    assert bench.reloader.look() == [waiting]
    _, over = bench.edit(SMALLEST)
    assert over == Notice(AlertKind.RESTART_NEEDED)
    assert bench.reloader.look() == []


def test_what_else_waits_for_a_restart_stays_when_the_notifier_runs(tmp_path: Path) -> None:
    bench = Bench(tmp_path, SMALLEST + PROBE)
    bench.edit(SMALLEST + PROBE.replace("channel: 0", "channel: 1") + "mqtt: {host: localhost}\n")
    bench.has_notifier = True

    (left,) = bench.reloader.look()

    assert isinstance(left, Notice)
    assert words(left).what == "Not in force yet: sensing.probes.pot_3.channel."


@pytest.mark.parametrize("begun", [SMALLEST + "mqtt: {host: localhost}\n", SMALLEST])
def test_a_notifier_that_began_with_the_bed_or_beside_it_need_not_be_started(tmp_path: Path, begun: str) -> None:
    bench = Bench(tmp_path, begun, has_unit=begun is not SMALLEST)
    _, waiting = bench.edit(SMALLEST + "mqtt: {host: localhost, port: 1884}\n")

    assert waiting == Notice(AlertKind.RESTART_NEEDED)
    assert bench.reloader.look() == []


def test_taking_back_that_nobody_need_see_the_floats_waits_for_a_restart(tmp_path: Path) -> None:
    bench = Bench(tmp_path, SMALLEST)
    _, given = bench.edit(SMALLEST + "not_commissioned: accepted\n")
    changes, taken_back = bench.edit(SMALLEST)

    assert given == Notice(AlertKind.RESTART_NEEDED)
    assert changes == ("not_commissioned: accepted -> not given (at the daemon's next start)",)
    assert words(taken_back).what == "Not in force yet: not_commissioned."


def test_a_sensor_is_heard_as_it_is_open_until_the_restart(tmp_path: Path) -> None:
    bench = Bench(tmp_path, SMALLEST + PROBE)
    calibrated = PROBE.replace("channel: 0", "channel: 0, wet_above: 80 %, calibration: {dry: 820, wet: 380}")

    bench.edit(SMALLEST + calibrated.replace("}]}", "}, {name: pot_9, channel: 1}]}"))

    (adviser,) = bench.plan.sensing.advisers
    assert (adviser.name, adviser.wet_above, adviser.is_calibrated) == ("pot_3", 80.0, False)
