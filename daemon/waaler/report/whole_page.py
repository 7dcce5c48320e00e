"""A self-contained HTML page around what it shows: for a phone, a desk and a printer."""

from waaler.report.charts import PATTERNS
from waaler.report.look import LOOK_ELEMENT
from waaler.report.markup import Markup, join, tag

__all__ = ["whole_page"]

DOCTYPE = Markup("<!doctype html>\n")
HEAD = join(
    tag("meta", charset="utf-8"), tag("meta", name="viewport", content="width=device-width, initial-scale=1")
)


def whole_page(title: str, *parts: object) -> str:
    """The page as text; it needs nothing from outside."""
    head = tag("head", HEAD, tag("title", title), LOOK_ELEMENT)
    return join(DOCTYPE, tag("html", head, tag("body", PATTERNS, *parts), lang="en")) + "\n"
