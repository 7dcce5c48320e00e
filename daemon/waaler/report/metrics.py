"""Figures of the beds as OpenMetrics text, for whoever scrapes them or collects text files.

The format is that of the OpenMetrics specification 1.0: families one after the other, `# EOF` at the end.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from waaler.core.facts import Severity
from waaler.records.reader import Reader, Step
from waaler.records.schema import StoreError
from waaler.report.bed import Bed
from waaler.report.state import read_state
from waaler.report.sump import read_sump

__all__ = ["CONTENT_TYPE", "metrics"]

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
READING_S = 600.0


@dataclass
class _Family:
    """samples: labels, value."""

    name: str
    kind: str
    told: str
    unit: str = ""
    samples: list[tuple[dict[str, str], float]] = field(default_factory=list)

    def add(self, value: float | None, **labels: str) -> None:
        if value is not None:
            self.samples.append((labels, value))

    def lines(self) -> Iterator[str]:
        if not self.samples:
            return
        yield f"# TYPE {self.name} {self.kind}"
        if self.unit:
            yield f"# UNIT {self.name} {self.unit}"
        yield f"# HELP {self.name} {self.told}"
        suffix = {"counter": "_total", "info": "_info"}.get(self.kind, "")
        for labels, value in self.samples:
            told = ",".join(f'{name}="{_escaped(text)}"' for name, text in labels.items())
            yield f"{self.name}{suffix}{{{told}}} {value:.15g}"


class _Families:
    def __init__(self) -> None:
        self.bed = _Family("waaler_bed", "info", "The bed and what people call it.")
        self.readable = _Family("waaler_records_readable", "gauge", "1 if the bed's records can be read.")
        self.unread = _Family("waaler_records_unread_rows", "gauge", "Rows that cannot be read and are left out.")
        self.runs = _Family("waaler_runs", "counter", "Runs, skips and refusals by how they ended.")
        self.pump = _Family("waaler_pump_seconds", "counter", "Time that the pump was on.", "seconds")
        self.alerts = _Family("waaler_alerts", "gauge", "Alerts that stand, by severity.")
        self.alert = _Family(
            "waaler_alert_since_seconds", "gauge", "When an alert that stands was raised.", "seconds"
        )
        self.sump = _Family("waaler_sump_litres", "gauge", "What the sump holds, read or expected.", "litres")
        self.left = _Family("waaler_sump_left_days", "gauge", "Until a planned run would be cut.", "days")
        self.full = _Family("waaler_last_full_run_seconds", "gauge", "When the last full run ended.", "seconds")
        self.next = _Family("waaler_next_run_seconds", "gauge", "When the next run can come.", "seconds")
        self.state = _Family("waaler_state", "info", "What the bed does, and what its next run waits for.")
        self.alive = _Family(
            "waaler_alive_seconds", "gauge", "When the daemon last noted that it lived.", "seconds"
        )
        self.reading = _Family("waaler_reading", "gauge", "The last minute's mean of a sensor, in its unit.")

    def all(self) -> Iterator[_Family]:
        yield from vars(self).values()


def metrics(beds: Sequence[tuple[Bed, Path]], now_s: float) -> str:
    """The text for these beds and their records."""
    families = _Families()
    for bed, records in beds:
        families.bed.add(1, bed=bed.id, title=bed.title)
        try:
            with Reader(records) as reader:
                _add(families, bed, reader, now_s)
        except StoreError:
            families.readable.add(0, bed=bed.id)
        else:
            families.readable.add(1, bed=bed.id)
    lines = [line for family in families.all() for line in family.lines()]
    return "\n".join([*lines, "# EOF\n"])


def _add(families: _Families, bed: Bed, reader: Reader, now_s: float) -> None:
    totals = reader.totals()
    for outcome, count, _ in totals:
        families.runs.add(count, bed=bed.id, outcome=outcome)
    families.pump.add(sum(seconds for _, _, seconds in totals), bed=bed.id)
    alerts = reader.open_alerts()
    for severity in Severity:
        families.alerts.add(sum(one.severity is severity for one in alerts), bed=bed.id, severity=severity.value)
    for one in alerts:
        families.alert.add(one.raised_at_s, bed=bed.id, kind=one.kind, severity=one.severity.value)
    samples = reader.samples(now_s - READING_S, now_s + 60, Step.MINUTE)
    sump = read_sump(reader, bed, now_s - 86_400, now_s, samples)
    families.sump.add(sump.now_l, bed=bed.id, source="expected" if sump.is_expected else "read")
    families.left.add(sump.days_left, bed=bed.id)
    last = reader.last_full()
    families.full.add(None if last is None else last.ended_at_s, bed=bed.id)
    _add_present(families, bed, reader, now_s)
    families.alive.add(reader.alive_s(), bed=bed.id)
    for row in {sample.name: sample for sample in samples}.values():
        families.reading.add(row.mean, bed=bed.id, sensor=row.name, unit=row.unit)
    families.unread.add(reader.unread, bed=bed.id)


def _add_present(families: _Families, bed: Bed, reader: Reader, now_s: float) -> None:
    told = read_state(reader, bed, now_s)
    following = None if told.present is None else told.present.next
    wait = None if told.present is None else told.present.wait
    families.next.add(None if following is None else following.start.timestamp(), bed=bed.id)
    families.state.add(1, bed=bed.id, state=told.state, waits_for="" if wait is None else wait.reason)


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
