"""Asks a site as a browser would, without a network."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from tests.records.facts import WALL_S
from tests.report.beds import NASTY

from waaler.page.beds import Watch
from waaler.page.site import Rules, Site

__all__ = ["NOW_S", "Got", "Page", "ask", "site_of", "write_bed"]

NOW_S = WALL_S + 11_400.0
"""11:10 of the first day, 20 min after the last that is recorded."""

BED = """\
bed: {bed}
title: '{title}'
place: {{timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}}
plan:
  - window: day
    cycles: 5
    between: ["06:00", "18:00"]
    water: 2 min
"""


@dataclass
class Got:
    status: int
    text: str
    headers: dict[str, str] = field(default_factory=dict)


class Page(HTMLParser):
    """The words and tags of a page, and the links of it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words, self.tags, self.links = "", [], []
        self.feed(text)

    tags: list[str]
    links: list[str]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("href", "src", "action") and value]

    def handle_data(self, data: str) -> None:
        self.words += data + "\n"


def write_bed(folder: Path, bed: str = "terrace", title: str = NASTY) -> Path:
    file = folder / f"{bed}.yaml"
    file.write_text(BED.format(bed=bed, title=title))
    return file


def site_of(*files: Path, now_s: float = NOW_S, **rules: Any) -> Site:
    return Site([Watch(file) for file in files], Rules(frozenset({"localhost"}), **rules), lambda: now_s)


def ask(site: Site, path: str = "/", query: str = "", **environ: str) -> Got:
    """environ: what the request has besides or instead."""
    got = Got(0, "")

    def start(status: str, headers: list[tuple[str, str]], *_: Any) -> Any:
        got.status, got.headers = int(status.split()[0]), dict(headers)
        assert len(got.headers) == len(headers), "no header twice"

    request = {
        "REQUEST_METHOD": "GET", "PATH_INFO": path, "QUERY_STRING": query, "HTTP_HOST": "localhost:8080",
        "REMOTE_ADDR": "127.0.0.1", **environ,
    }  # fmt: skip
    got.text = b"".join(site(request, start)).decode()
    return got
