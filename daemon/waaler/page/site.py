"""The site as a WSGI application: who may ask, what for, and with which headers it is answered.

Plain WSGI: seven addresses that only read need no framework, and a small Pi keeps the memory of one.
"""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from urllib.parse import parse_qs
from wsgiref.types import StartResponse

from waaler.core.facts import Outcome
from waaler.page import views
from waaler.page.beds import Shown, Watch
from waaler.page.frame import SCRIPT
from waaler.page.passwords import Passwords
from waaler.records.reader import Reader
from waaler.records.schema import StoreError
from waaler.records.times import local
from waaler.report.history import COLUMNS, csv_row
from waaler.report.look import LOOK
from waaler.report.metrics import CONTENT_TYPE, metrics
from waaler.visible import one_line

__all__ = ["Answer", "Rules", "Site"]

POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src data:;"
    " form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
SAFETY = {
    "Content-Security-Policy": POLICY,
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}
PERIOD = timedelta(days=30)
LONGEST = timedelta(days=366)
MOST_QUERY = 300


@dataclass(frozen=True, slots=True)
class Rules:
    """Who may ask. names: Host names that are ours. passwords None: none is asked for.

    proxy: the only address that may connect, None for any.
    """

    names: frozenset[str]
    passwords: Passwords | None = None
    proxy: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    status: str
    kind: str
    body: bytes
    headers: tuple[tuple[str, str], ...] = ()


class BadQuestion(ValueError):
    """What the address asks for makes no sense; says what to write."""


class Site:
    """watches: the beds. clock: wall time, seconds since 1970 UTC."""

    def __init__(self, watches: Iterable[Watch], rules: Rules, clock: Callable[[], float]) -> None:
        self._watches = {watch.id: watch for watch in watches}
        self._rules, self._clock = rules, clock

    def __call__(self, environ: dict[str, Any], start: StartResponse) -> Iterable[bytes]:
        answer = self._refusal(environ) or self._try(environ)
        own = {"Content-Type": answer.kind, "Content-Length": str(len(answer.body)), **dict(answer.headers)}
        start(answer.status, list({**SAFETY, **own}.items()))
        return [b"" if environ["REQUEST_METHOD"] == "HEAD" else answer.body]

    # --- who may ask -------------------------------------------------------------------------

    def _refusal(self, environ: dict[str, Any]) -> Answer | None:
        rules = self._rules
        if rules.proxy is not None and environ.get("REMOTE_ADDR") != rules.proxy:
            return _said("403 Forbidden", "only the proxy may ask here")
        if _host(environ.get("HTTP_HOST", "")) not in rules.names:
            return _said("421 Misdirected Request", "this site has another name")
        if rules.passwords is not None and not rules.passwords.admits(environ.get("HTTP_AUTHORIZATION", "")):
            wanted = ("WWW-Authenticate", 'Basic realm="waaler", charset="UTF-8"')
            return _said("401 Unauthorized", "name and password, please", wanted)
        if environ["REQUEST_METHOD"] not in ("GET", "HEAD"):
            return _said("405 Method Not Allowed", "this page only reads", ("Allow", "GET, HEAD"))
        return None

    # --- what for ----------------------------------------------------------------------------

    def _try(self, environ: dict[str, Any]) -> Answer:
        try:
            return self._answer(environ)
        except StoreError as problem:
            return _said("503 Service Unavailable", str(problem))
        except BadQuestion as problem:
            return _said("400 Bad Request", str(problem))
        except Exception as problem:
            errors = environ.get("wsgi.errors")
            if errors is not None:
                errors.write(f"a page failed: {one_line(environ.get('PATH_INFO', ''))}: {type(problem).__name__}\n")
            return _said("500 Internal Server Error", "this page cannot be made; the others can")

    def _answer(self, environ: dict[str, Any]) -> Answer:
        path = environ.get("PATH_INFO", "/").lstrip("/")
        if path == "":
            return self._live(environ, lambda: views.home_page(self._shown(), self._clock()))
        if path == "look.css":
            return Answer("200 OK", "text/css; charset=utf-8", LOOK.encode(), (("Cache-Control", "max-age=3600"),))
        if path == "metrics":
            beds = [(shown.bed, shown.records) for shown in self._shown()]
            return Answer("200 OK", CONTENT_TYPE, metrics(beds, self._clock()).encode())
        if path == "page.js":
            return Answer("200 OK", "text/javascript; charset=utf-8", SCRIPT.encode())
        found = re.fullmatch(r"bed/([a-z][a-z0-9-]{0,30})/(|history|history\.csv|run/(\d{1,15}))", path)
        if found is None or found[1] not in self._watches:
            return _said("404 Not Found", "there is no such page")
        return self._of_bed(environ, self._watches[found[1]], found[2], found[3])

    def _of_bed(self, environ: dict[str, Any], watch: Watch, what: str, run_id: str | None) -> Answer:
        count, now_s = len(self._watches), self._clock()
        shown = watch.look()
        if what == "":
            return self._live(environ, lambda: views.bed_page(shown, now_s, f"bed/{watch.id}/", count))
        if run_id is not None:
            page = views.run_page(shown, int(run_id), now_s, count)
            return _said("404 Not Found", "no run has this number") if page is None else _page(page)
        chosen = _chosen(environ.get("QUERY_STRING", ""), local(now_s, shown.bed.zone).date())
        if what == "history.csv":
            return _csv(shown, chosen)
        return _page(views.history_page(shown, chosen, now_s, count))

    def _shown(self) -> list[Shown]:
        return [watch.look() for watch in self._watches.values()]

    def _live(self, environ: dict[str, Any], make: Callable[[], str]) -> Answer:
        """Nothing is made again while no records changed, within a few seconds."""
        mark = f'"{"-".join(_marks(self._watches.values()))}-{int(self._clock() // 10)}"'
        if environ.get("HTTP_IF_NONE_MATCH") == mark:
            return Answer("304 Not Modified", "text/html; charset=utf-8", b"", (("ETag", mark),))
        return _page(make(), ("ETag", mark))


def _marks(watches: Iterable[Watch]) -> Iterator[str]:
    for watch in watches:
        for tail in ("", "-wal"):
            path = watch.records.with_name(watch.records.name + tail)
            try:
                found = path.stat()
                yield f"{found.st_mtime_ns:x}" if found.st_size else "0"  # a reader may make an empty -wal
            except OSError:
                yield "0"


def _host(given: str) -> str:
    """Without its port; small letters."""
    name = re.fullmatch(r"(\[[0-9a-fA-F:.]+\]|[^:\[\]]+)(?::\d{1,5})?", given.strip())
    return "" if name is None else name[1].lower()


def _chosen(query: str, today: date) -> views.Chosen:
    """What a query asks for. Raises BadQuestion with what is wrong."""
    if len(query) > MOST_QUERY:
        raise BadQuestion("the address is too long")
    given = {name: values[-1] for name, values in parse_qs(query).items()}
    until = _day(given.get("until"), today)
    since = _day(given.get("since"), until - PERIOD + timedelta(days=1))
    if not timedelta(0) <= until - since <= LONGEST:
        raise BadQuestion("choose at most a year, the first day first; `waaler history --export` copies everything")
    page = given.get("page", "1")
    if not re.fullmatch(r"[1-9]\d{0,3}", page):
        raise BadQuestion("pages are numbers from 1")
    outcome = given.get("outcome") or None
    if outcome is not None and outcome not in list(Outcome):
        raise BadQuestion("no run ends so")
    return views.Chosen(since, until, None if outcome is None else Outcome(outcome), int(page))


def _day(text: str | None, otherwise: date) -> date:
    if not text:
        return otherwise
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise BadQuestion("write a day such as 2026-06-21") from None
    if not 1970 < day.year < 2200:
        raise BadQuestion("write a day of these years")
    return day


def _csv(shown: Shown, chosen: views.Chosen) -> Answer:
    with Reader(shown.records) as reader:
        runs = reader.runs(*chosen.span(shown.bed))
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerows(csv_row(run, shown.bed.zone) for run in runs if chosen.outcome in (None, run.outcome))
    name = f'attachment; filename="{shown.bed.id}-{chosen.since}-{chosen.until}.csv"'
    return Answer("200 OK", "text/csv; charset=utf-8", out.getvalue().encode(), (("Content-Disposition", name),))


def _page(text: str, *headers: tuple[str, str]) -> Answer:
    return Answer("200 OK", "text/html; charset=utf-8", text.encode(), headers)


def _said(status: str, text: str, *headers: tuple[str, str]) -> Answer:
    return Answer(status, "text/plain; charset=utf-8", f"{text}\n".encode(), headers)
