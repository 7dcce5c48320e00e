"""The figures as another reader of the format takes them in."""

from pathlib import Path

from prometheus_client.openmetrics.parser import text_string_to_metric_families
from tests.page.asking import NOW_S, ask, site_of, write_bed
from tests.records.facts import at, whole_run
from tests.report.beds import NASTY, WAITING

from waaler.bed.ledger import Entry
from waaler.core.facts import Act, AlertRaised, Deed, Outcome, PresentNoted, Severity, SumpNoted
from waaler.page.beds import Watch
from waaler.records.store import Sample, Store
from waaler.report.metrics import metrics


def samples(text: str) -> dict[tuple[str, frozenset[tuple[str, str]]], float]:
    """As the format's own reader finds them; it raises for anything that the specification forbids."""
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    }


def write(folder: Path, monkeypatch: object) -> Path:
    file = write_bed(folder)
    store = Store(folder / "terrace.db", "boot-a")
    store.write(
        [
            Deed(at(0.0), Act.START, "the daemon started"),
            SumpNoted(at(0.0), Entry(220.0, 2.0)),
            *whole_run(1, 100.0, 90.0),
            *whole_run(2, 4000.0, 30.0, Outcome.CUT_SHORT),
            *whole_run(3, 8000.0, 60.0),
            PresentNoted(at(8061.0), WAITING),
            AlertRaised(at(9000.0), "leak", Severity.SOON, "A loss."),
        ]
    )
    store.write_samples([Sample("air", "C", NOW_S - 120 - NOW_S % 60, 21.5, 21.0, 22.0)], at(10_000.0))
    store.close()
    return file


def test_runs_pump_alerts_sump_and_readings_can_be_scraped(tmp_path: Path, monkeypatch: object) -> None:
    import pytest

    assert isinstance(monkeypatch, pytest.MonkeyPatch)
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    shown = Watch(write(tmp_path, monkeypatch)).look()

    found = samples(metrics([(shown.bed, shown.records)], NOW_S))

    def value(name: str, **labels: str) -> float:
        return found[name, frozenset({"bed": "terrace", **labels}.items())]

    assert value("waaler_runs_total", outcome="done") == 2
    assert value("waaler_runs_total", outcome="cut short") == 1
    assert value("waaler_pump_seconds_total") == 180.0
    assert (value("waaler_alerts", severity="soon"), value("waaler_alerts", severity="urgent")) == (1, 0)
    assert value("waaler_alert_since_seconds", kind="leak", severity="soon") == at(9000.0).wall_s
    assert 210 < value("waaler_sump_litres", source="expected") < 220
    assert value("waaler_last_full_run_seconds") == at(8060.0).wall_s
    assert value("waaler_next_run_seconds") == at(14_400.0).wall_s
    assert value("waaler_state_info", state="waiting", waits_for="") == 1
    assert value("waaler_reading", sensor="air", unit="C") == 21.5
    assert value("waaler_records_readable") == 1
    assert value("waaler_bed_info", title=NASTY) == 1


def test_a_bed_without_records_is_told_as_such_and_hides_no_other(tmp_path: Path) -> None:
    import pytest

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STATE_DIRECTORY", str(tmp_path))
        shown = Watch(write_bed(tmp_path)).look()
    found = samples(metrics([(shown.bed, tmp_path / "missing.db"), (shown.bed, tmp_path / "too.db")][:1], NOW_S))

    assert found["waaler_records_readable", frozenset({("bed", "terrace")})] == 0


def test_the_page_gives_them_to_whoever_may_look(tmp_path: Path) -> None:
    import pytest

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STATE_DIRECTORY", str(tmp_path))
        site = site_of(write(tmp_path, patch))
    got = ask(site, "/metrics")

    assert got.status == 200
    assert got.headers["Content-Type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    assert ("waaler_pump_seconds_total", frozenset({("bed", "terrace")})) in samples(got.text)
    assert ask(site, "/metrics", HTTP_HOST="elsewhere").status == 421
