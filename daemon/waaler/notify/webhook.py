"""A note as JSON to a web address."""

import json
import ssl
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from typing import Any
from urllib.parse import urlsplit

from waaler.notify.channels import WAIT_S, NotNow, NotThis
from waaler.notify.deadline import TOTAL_S, Deadline
from waaler.notify.note import Note
from waaler.notify.redaction import parts_of_address
from waaler.notify.secrets import credential, read_secret
from waaler.settings.messages import Webhook

__all__ = ["WebhookChannel", "call", "reach"]

MAY_PASS_LATER = frozenset({401, 403, 404, 408, 425, 429})
"""Answers of a server that is set up wrong or busy; other 4xx mean the message. RFC 9110 and RFC 6585."""


class _Stay(urllib.request.HTTPRedirectHandler):
    """Elsewhere a POST would become a GET, and its secret address travel on."""

    def redirect_request(self, *_: Any) -> None:
        return None


class _Bounded(urllib.request.HTTPHandler, urllib.request.HTTPSHandler):
    """Makes connections that end with the deadline."""

    def __init__(self, deadline: Deadline) -> None:
        super().__init__()
        self._deadline = deadline

    def http_open(self, req: urllib.request.Request) -> Any:
        return self.do_open(_ending(HTTPConnection, self._deadline), req)

    def https_open(self, req: urllib.request.Request) -> Any:
        return self.do_open(_ending(HTTPSConnection, self._deadline), req, context=ssl.create_default_context())


def _ending(kind: Callable[..., HTTPConnection], deadline: Deadline) -> Any:
    """`kind`, made so that it connects through the deadline."""

    def made(*words: Any, **options: Any) -> HTTPConnection:
        connection = kind(*words, **options)
        connection._create_connection = deadline.connect  # type: ignore[attr-defined]
        return connection

    return made


class WebhookChannel:
    """Its address may be a secret: it stands in no reason and no log."""

    def __init__(self, hook: Webhook) -> None:
        self.name, self.least = f"webhook {hook.name}", hook.least
        self._hook = hook

    def send(self, note: Note) -> None:
        told = {"id": note.id, **note.about, "subject": note.subject, "text": note.body}
        call(self._url(), json.dumps(told, ensure_ascii=False).encode(), "application/json")

    def probe(self) -> None:
        reach(self._url())

    def _url(self) -> str:
        try:
            return self._hook.url or read_secret(self._hook.url_file or credential("webhook-url"))
        except OSError as problem:
            raise NotNow(str(problem)) from None


def call(url: str, body: bytes | None = None, content_type: str | None = None) -> None:
    """Raises NotNow and NotThis unless the server answers 2xx; what it says after that is not waited for."""
    headers = {"User-Agent": "waaler"} | ({} if content_type is None else {"Content-Type": content_type})
    with Deadline(TOTAL_S) as deadline, _told(url, deadline):
        if urlsplit(url).scheme not in ("http", "https"):
            raise ValueError  # the library would open files and more
        request = urllib.request.Request(url, data=body, headers=headers)
        opener = urllib.request.build_opener(_Stay(), _Bounded(deadline))
        opener.open(request, timeout=WAIT_S).close()


def reach(url: str) -> None:
    """Connects, and says nothing. Raises NotNow. Through a proxy nothing can be told without a request."""
    with Deadline(TOTAL_S) as deadline, _told(url, deadline):
        parts = urlsplit(url)
        if parts.scheme in urllib.request.getproxies():
            return
        kind = {"http": HTTPConnection, "https": HTTPSConnection}[parts.scheme]
        connection = _ending(kind, deadline)(parts.hostname or "", parts.port, timeout=WAIT_S)
        connection.connect()
        connection.close()


@contextmanager
def _told(url: str, deadline: Deadline) -> Iterator[None]:
    """Whatever is raised becomes NotNow or NotThis, without the address."""
    secrets = tuple(parts_of_address(url))
    try:
        yield
    except urllib.error.HTTPError as problem:
        problem.close()
        is_final = 400 <= problem.code < 500 and problem.code not in MAY_PASS_LATER
        reason = f"the server says {problem.code} {problem.reason}"
        raise (NotThis if is_final else NotNow)(reason, secrets) from None
    except Exception as problem:
        raise NotNow(_reason(problem, deadline), secrets) from None


def _reason(problem: Exception, deadline: Deadline) -> str:
    if deadline.is_over:
        return f"no end of its answer within {TOTAL_S:.0f} s"
    if isinstance(problem, urllib.error.URLError) and not isinstance(problem.reason, str):
        return f"no answer: {problem.reason}"
    if isinstance(problem, OSError) and not isinstance(problem, urllib.error.URLError):
        return str(problem) or type(problem).__name__
    if isinstance(problem, HTTPException) and not isinstance(problem, ValueError):
        return f"this is no answer of a web server ({type(problem).__name__})"
    return "the address makes no sense"
