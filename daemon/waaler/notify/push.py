"""Every other way to a person, by the general notification library, which is an extra."""

import logging
import time
from collections.abc import Sequence
from threading import Thread
from typing import Any

from waaler.core.facts import Severity
from waaler.notify.channels import NotNow
from waaler.notify.deadline import TOTAL_S
from waaler.notify.note import Note
from waaler.notify.secrets import read_lines
from waaler.settings.messages import Push

__all__ = ["PushChannel"]

MISSING = 'the notification library is not installed: pip install "waaler[push]"'
TALKATIVE = ("apprise", "urllib3", "requests")
"""Their loggers print addresses, passwords included, where nobody configured them."""

AGAIN_S = 3600.0
"""A try that hangs for longer than this is given up for lost: its message is sent again."""


class PushChannel:
    """Its addresses hold passwords: they are read anew each time and stand in no reason.

    The library knows no deadline as a whole: each try runs in a thread that may be left behind, one at a time.
    """

    name = "push"

    def __init__(self, push: Push) -> None:
        self.least = push.least
        self._push = push
        self._last: _Try | None = None
        for name in TALKATIVE:
            logging.getLogger(name).addHandler(logging.NullHandler())
            logging.getLogger(name).propagate = False

    def send(self, note: Note) -> None:
        running = self._last
        if running is None or not running.is_of(note):
            library = _library(self._urls())
            self._last = running = _Try(library, note)
            running.start()
        running.join(TOTAL_S)
        if running.is_alive():
            raise NotNow(f"the library has not done with it within {TOTAL_S:.0f} s")
        self._last = None
        if not running.is_sent:
            raise NotNow("the library could not deliver it to every address")

    def probe(self) -> None:
        _library(self._urls())

    def _urls(self) -> list[str]:
        try:
            return read_lines(self._push.urls_file)
        except OSError as problem:
            raise NotNow(str(problem)) from None


class _Try(Thread):
    """One call of the library, whatever it does."""

    def __init__(self, library: Any, note: Note) -> None:
        super().__init__(name="push", daemon=True)
        self.is_sent = False
        self._library, self._note, self._begun_s = library, note, time.monotonic()

    def is_of(self, note: Note) -> bool:
        """Whether this try is still about that message; another one waits until it is over or lost."""
        if not self.is_alive():
            return self._note.id == note.id
        if time.monotonic() - self._begun_s > AGAIN_S:
            return False
        if self._note.id != note.id:
            raise NotNow("the library has not done with the message before")
        return True

    def run(self) -> None:
        import apprise

        note = self._note
        kind = apprise.NotifyType.FAILURE if note.severity is Severity.URGENT else apprise.NotifyType.WARNING
        try:
            self.is_sent = bool(self._library.notify(title=note.subject, body=note.body, notify_type=kind))
        except Exception:  # its text may hold an address
            self.is_sent = False


def _library(urls: Sequence[str]) -> Any:
    """Raises NotNow where it is missing or makes nothing of an address."""
    try:
        import apprise
    except ImportError:
        raise NotNow(MISSING) from None
    library = apprise.Apprise()
    try:
        bad = [n for n, url in enumerate(urls, 1) if not library.add(url)]
    except Exception:  # as above
        bad = [1]
    if bad:
        raise NotNow(f"address {bad[0]} of the file makes no sense to the library")
    return library
