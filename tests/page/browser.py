"""Debian's Chromium, and a site served from this process."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from typing import Any

from playwright.sync_api import Browser, sync_playwright
from waitress.server import create_server

from waaler.page.site import Site

__all__ = ["CHROMIUM", "chromium", "serious_faults", "served"]

CHROMIUM = Path("/usr/bin/chromium")
OPTIONS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]


@contextmanager
def chromium() -> Iterator[Browser]:
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=OPTIONS)
        yield browser
        browser.close()


@contextmanager
def served(site: Site) -> Iterator[str]:
    """The address of the site's home while it is served."""
    server: Any = create_server(site, host="127.0.0.1", port=0, threads=2)
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}/"
    server.close()
    thread.join(timeout=5)


def serious_faults(page: Any) -> list[str]:
    """What the accessibility engine calls serious or critical: rule, and the first place."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found if one["impact"] in ("serious", "critical")
    ]
