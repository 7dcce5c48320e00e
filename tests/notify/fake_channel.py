"""A channel that keeps what it is given, and fails as it is told."""

from dataclasses import dataclass, field

from waaler.core.facts import Severity
from waaler.notify.note import Note


@dataclass
class FakeChannel:
    """Takes notes, or raises what stands in `troubles` first."""

    name: str = "fake"
    least: Severity = Severity.SOON
    troubles: list[Exception] = field(default_factory=list)
    got: list[Note] = field(default_factory=list)
    probe_troubles: list[Exception] = field(default_factory=list)

    def send(self, note: Note) -> None:
        if self.troubles:
            raise self.troubles.pop(0)
        self.got.append(note)

    def probe(self) -> None:
        if self.probe_troubles:
            raise self.probe_troubles.pop(0)

    @property
    def subjects(self) -> list[str]:
        return [note.subject.removeprefix("[Bed] ") for note in self.got]
