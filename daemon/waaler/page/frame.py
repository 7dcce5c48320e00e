"""What every page of the site shares: head, way about, links that hold behind any proxy, and the script."""

from waaler.report.charts import PATTERNS
from waaler.report.markup import Markup, join, tag

__all__ = ["SCRIPT", "Links", "whole"]

DOCTYPE = Markup("<!doctype html>\n")

SCRIPT = """"use strict";
// Shows what is new without a reload: the same page is asked for every four seconds while it is looked at.
const live = document.getElementById("live");
let tag = "";
async function look() {
  if (document.hidden || live.contains(document.activeElement)) return;
  try {
    const answer = await fetch(live.dataset.from, tag ? {headers: {"If-None-Match": tag}} : {});
    if (answer.status === 200) {
      tag = answer.headers.get("ETag") || "";
      const found = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("live");
      if (found && found.innerHTML !== live.innerHTML) live.replaceChildren(...found.childNodes);
    }
  } catch { /* the page stays as it was read; its time stands below */ }
}
if (live) setInterval(look, 4000);
"""


class Links:
    """Addresses relative to the page that they stand on."""

    def __init__(self, path: str) -> None:
        self._up = "../" * path.strip("/").count("/") if path.strip("/") else ""
        if path.endswith("/") and path.strip("/"):
            self._up += "../"

    def to(self, path: str) -> str:
        return f"{self._up}{path}" or "./"

    def bed(self, bed: str) -> str:
        return self.to(f"bed/{bed}/")

    def history(self, bed: str) -> str:
        return self.to(f"bed/{bed}/history")

    def run(self, bed: str, run_id: int) -> str:
        return self.to(f"bed/{bed}/run/{run_id}")


def whole(title: str, links: Links, way: list[tuple[str, str]], told_at: str, *parts: object) -> str:
    """way: name and address of where one can go from here."""
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="robots", content="noindex"),
        tag("title", title),
        tag("link", rel="stylesheet", href=links.to("look.css")),
        tag("link", rel="icon", href="data:,"),
        tag("script", src=links.to("page.js"), defer=True),
    )
    nav = tag(
        "nav", tag("ul", [tag("li", tag("a", name, href=href)) for name, href in way]), aria_label="Way about"
    )
    body = tag(
        "body",
        tag("a", "To the content", href="#content", class_="skip-link"),
        PATTERNS,
        tag("header", tag("h1", title), nav if way else None),
        tag("main", *parts, id="content", tabindex=-1),
        tag("footer", tag("p", told_at, " This page only reads; nothing on it can move water.")),
    )
    return join(DOCTYPE, tag("html", head, body, lang="en")) + "\n"
