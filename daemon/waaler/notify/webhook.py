"""A note as JSON to a web address."""

import json
import ssl
import urllib.error
import urllib.request
from http.client import HTTPException
from typing import Any

from waaler.notify.channels import WAIT_S, NotNow, NotThis
from waaler.notify.note import Note
from waaler.notify.secrets import credential, read_secret
from waaler.settings.messages import Webhook

__all__ = ["WebhookChannel", "call"]

MAY_PASS_LATER = frozenset({401, 403, 404, 408, 425, 429})
"""Answers of a server that is set up wrong or busy; other 4xx mean the message. RFC 9110 and RFC 6585."""


class _Stay(urllib.request.HTTPRedirectHandler):
    """Elsewhere a POST would become a GET, and its secret address travel on."""

    def redirect_request(self, *_: Any) -> None:
        return None


OPENER = urllib.request.build_opener(_Stay())


class WebhookChannel:
    """Its address may be a secret: it stands in no reason and no log."""

    def __init__(self, hook: Webhook) -> None:
        self.name, self.least = f"webhook {hook.name}", hook.least
        self._hook = hook

    def send(self, note: Note) -> None:
        told = {"id": note.id, **note.about, "subject": note.subject, "text": note.body}
        try:
            url = self._hook.url or read_secret(self._hook.url_file or credential("webhook-url"))
        except OSError as problem:
            raise NotNow(str(problem)) from None
        call(url, json.dumps(told, ensure_ascii=False).encode(), "application/json")


def call(url: str, body: bytes | None = None, content_type: str | None = None) -> None:
    """Raises NotNow and NotThis unless the server answers 2xx."""
    headers = {"User-Agent": "waaler"} | ({} if content_type is None else {"Content-Type": content_type})
    try:
        request = urllib.request.Request(url, data=body, headers=headers)
        with OPENER.open(request, timeout=WAIT_S) as answer:
            answer.read(1024)
    except urllib.error.HTTPError as problem:
        problem.close()
        is_final = 400 <= problem.code < 500 and problem.code not in MAY_PASS_LATER
        reason = f"the server says {problem.code} {problem.reason}"[:200]
        raise (NotThis if is_final else NotNow)(reason) from None
    except urllib.error.URLError as problem:
        raise NotNow(f"no answer: {problem.reason}") from None
    except ValueError:
        raise NotNow("the address makes no sense") from None
    except (OSError, HTTPException, ssl.SSLError) as problem:
        raise NotNow(str(problem) or type(problem).__name__) from None
