"""Every other way to a person, by the general notification library, which is an extra."""

from waaler.core.facts import Severity
from waaler.notify.channels import NotNow
from waaler.notify.note import Note
from waaler.notify.secrets import read_lines
from waaler.settings.messages import Push

__all__ = ["PushChannel"]

MISSING = 'the notification library is not installed: pip install "waaler[push]"'


class PushChannel:
    """Its addresses hold passwords: they are read anew each time and stand in no reason."""

    name = "push"

    def __init__(self, push: Push) -> None:
        self.least = push.least
        self._push = push

    def send(self, note: Note) -> None:
        try:
            import apprise
        except ImportError:
            raise NotNow(MISSING) from None
        library = apprise.Apprise()
        try:
            urls = read_lines(self._push.urls_file)
        except OSError as problem:
            raise NotNow(str(problem)) from None
        bad = [n for n, url in enumerate(urls, 1) if not library.add(url)]
        kind = apprise.NotifyType.FAILURE if note.severity is Severity.URGENT else apprise.NotifyType.WARNING
        is_sent = len(library) > 0 and library.notify(title=note.subject, body=note.body, notify_type=kind)
        if bad:
            raise NotNow(f"address {bad[0]} of the file makes no sense to the library")
        if not is_sent:
            raise NotNow("the library could not deliver it to every address")
