"""A reload hides nothing: every key of the file is taken at once, or named with what must be restarted."""

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from tests.keeper.every_key import (
    FILES,
    Doc,
    file_text,
    others,
    places_of,
    read_name,
    value_at,
    with_value,
    write_named_files,
)  # fmt: skip

from waaler.core import joined
from waaler.core.facts import AlertRaised, Deed
from waaler.core.memory import Memory
from waaler.core.messages import Write
from waaler.core.state import Setup
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Instant
from waaler.keeper.reload import Reloader
from waaler.notify.places import Places
from waaler.notify.service import Service
from waaler.settings import Settings, SettingsError, load, parse
from waaler.settings.key_paths import key_paths
from waaler.settings.models import BedFile
from waaler.settings.taken import TAKEN, Taken

KEYS = tuple(key_paths(BedFile))
AT = Instant(1000.0, datetime(2026, 6, 21, 3, tzinfo=UTC).timestamp())
DAYS = tuple(date(2026, 6, 21) + timedelta(days=n) for n in (0, 30, 61, 210))
MOST_TRIES = 4
"""Values of a key that are tried in one file."""

PROGRAM_TEXT = re.compile(r"\w\(|<|>(?! )|\bNone\b|datetime|ClockMoment|frozenset")
"""A class or a function as a program writes it; an arrow has a space behind it."""

Known = dict[str, Any]


class Running:
    """A bed that is kept, without threads: its core, the file's reload, and what its notifier would do."""

    def __init__(self, file: Path, settings: Settings) -> None:
        self.begun = settings
        self.reloader = Reloader(file, settings)
        must_be_proven = settings.file.not_commissioned is None
        setup = Setup(
            settings.plan, settings.sensing, settings.limits, settings.care, settings.thirst, must_be_proven
        )
        self.core = joined.begin(setup, Memory(guard=GuardMemory(last_stop_s=0.0)), AT)
        self.places = Places(file.with_name("t.db"), file.with_name("n.db"), file.with_name("t.sock"))
        self.service = Service(settings, self.places, lambda: False)

    def edit(self, new: Settings) -> str:
        """Reloads the file, which was written anew; everything that a person is told of it."""
        told = []
        for message in self.reloader.take():
            self.core, outputs = joined.tell(self.core, AT, message)
            facts = [output.fact for output in outputs if isinstance(output, Write)]
            told += [fact.text for fact in facts if isinstance(fact, Deed | AlertRaised)]
        self.service.take(new)
        if self.service.must_begin_again:
            self.service = Service(new, self.places, lambda: False)
        return "\n".join(told)

    def knows(self) -> Known:
        """What it goes by now."""
        state, present, round_ = self.core.decisions, self.reloader.present, self.service._round()
        setup = state.setup
        thirst, care = setup.thirst, setup.care
        return {
            "plan": setup.plan,
            "sensing": setup.sensing,
            "advisers": [one.adviser for one in state.advice.advisers],
            "limits": (setup.limits, self.core.guard.limits),
            "thirst": None if thirst is None else [thirst.day_l(day) for day in DAYS],
            "hours": None if thirst is None else thirst.longitude_deg,
            "care": (care.contacts, care.quiet, care.clean_after_s),
            "cleaning": (care.clean_after_starts, care.renew_after_days),
            "sump": list(_ledger(care.book)),
            "proof": state.proving.must_prove,
            "shown": (present.title, present.is_clock_trusted),
            "opened": (self.begun.id, self.begun.wiring),
            "notifier": (round_.bed, round_.title, str(round_.zone), round_.quiet),
            "channels": (self.service._settings.mqtt, self.service._settings.messages),
        }


def _ledger(book: Any) -> Iterator[Any]:
    yield from (book.figures, book.tank, book.fresh_ec, book.water_ec, book.uptake_share, book.longest_run_s)
    yield from (book.drink_l(day) for day in DAYS)
    since = datetime(2026, 6, 21, tzinfo=UTC)
    yield tuple(book.runs(since, since + timedelta(days=1)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("beds")
    write_named_files(found)
    return found


@cache
def before_of(folder: Path, n: int) -> Settings:
    return parse(file_text(FILES[n]), str(folder / "terrace.yaml"))


@cache
def known_before(folder: Path, n: int) -> Known:
    return Running(folder / "terrace.yaml", before_of(folder, n)).knows()


def edits(key: str, folder: Path) -> Iterator[tuple[int, str, Settings]]:
    """A file's number, the name of the key in it, and the file with another valid value there."""
    for n, doc in enumerate(FILES):
        yield from islice(_edits_of(n, doc, key, folder), MOST_TRIES)


def _edits_of(n: int, doc: Doc, key: str, folder: Path) -> Iterator[tuple[int, str, Settings]]:
    """Written to the file one after another; what is not valid, or says the same, is left out."""
    file = folder / "terrace.yaml"
    for place in places_of(doc, key):
        for other in others(key, value_at(doc, place)):
            file.write_text(file_text(with_value(doc, place, other)))
            try:
                new = load(file)
            except SettingsError:
                continue
            if new.file != before_of(folder, n).file:
                yield n, read_name(doc, place), new


def test_every_key_of_the_schema_has_a_row_and_every_row_a_key() -> None:
    assert sorted(TAKEN) == sorted(KEYS)


@pytest.mark.parametrize("key", KEYS)
def test_a_changed_key_is_taken_at_once_or_named_with_what_must_be_restarted(key: str, folder: Path) -> None:
    has_effect, tried = False, 0
    for n, name, new in edits(key, folder):
        tried += 1
        file = folder / "terrace.yaml"
        running = Running(file, before_of(folder, n))
        told = running.edit(new)
        before, now, anew = known_before(folder, n), running.knows(), Running(file, new).knows()

        assert f"{name}: " in told or f"{name}, " in told, told
        assert "in other words" not in told
        assert not PROGRAM_TEXT.search(told), told
        if "Not in force yet: " in told:
            assert re.search(r"`systemctl [a-z -]+ waaler(-notify)?@terrace", told) or key == "bed", told
            assert TAKEN[key] is Taken.DAEMON or key == "not_commissioned"
            has_effect = True
        else:
            assert now == anew, {part: (now[part], anew[part]) for part in now if now[part] != anew[part]}
            has_effect = has_effect or now != before
        if has_effect:
            break
    assert tried, "no other valid value was found"
    assert has_effect is (TAKEN[key] is not Taken.COMMANDS)
