"""What the diagrams look like in a real browser: no label lies on another or on a line, none is cut off."""

from collections.abc import Iterator
from typing import Any

import pytest
from hardware.draw import DIAGRAMS, FILE, draw

from waaler.settings import load, parse

pytest.importorskip("playwright")

from tests.page.browser import chromium

pytestmark = pytest.mark.browser

OVERLAPS = """() => {
  const within = (box, x, y) =>
    x > box.x + 1 && x < box.x + box.width - 1 && y > box.y + 2 && y < box.y + box.height - 2;
  const texts = [...document.querySelectorAll("svg text")].filter(text => text.textContent.trim());
  const boxes = texts.map(text => text.getBBox());
  const found = [], view = document.querySelector("svg").viewBox.baseVal;
  boxes.forEach((box, n) => {
    if (box.x < view.x || box.x + box.width > view.x + view.width) found.push("cut off: " + texts[n].textContent);
  });
  boxes.forEach((one, n) => boxes.slice(n + 1).forEach((other, m) => {
    if (one.x < other.x + other.width && other.x < one.x + one.width &&
        one.y + 2 < other.y + other.height - 2 && other.y + 2 < one.y + one.height - 2)
      found.push(texts[n].textContent + " on " + texts[n + 1 + m].textContent);
  }));
  document.querySelectorAll("svg path, svg circle, svg line").forEach(shape => {
    for (let at = 0; at <= shape.getTotalLength(); at += 1) {
      const point = shape.getPointAtLength(at);
      boxes.forEach((box, n) => { if (within(box, point.x, point.y)) found.push("line through " + texts[n].textContent); });
    }
  });
  return [...new Set(found)];
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


def overlaps(browser: Any, svg: str) -> list[str]:
    page = browser.new_page()
    page.set_content(svg)
    found: list[str] = page.evaluate(OVERLAPS)
    page.close()
    return found


@pytest.mark.parametrize("name", DIAGRAMS)
def test_no_label_lies_on_another_or_on_a_line_or_is_cut_off(browser: Any, name: str) -> None:
    assert overlaps(browser, draw(name, load(FILE))) == []


def test_two_boards_switched_by_low_have_room_too(browser: Any) -> None:
    text = FILE.read_text().replace("energised_by: high", "energised_by: low")
    other = text.replace("# cutoff_relay: {gpio: 24}", "cutoff_relay: {gpio: 24, energised_by: low}")

    assert overlaps(browser, draw("relay-board", parse(other, "t.yaml"))) == []


def test_a_label_that_grows_over_its_neighbour_is_noticed(browser: Any) -> None:
    svg = draw("pump-mains", load(FILE)).replace(">follows demand<", ">follows demand and whatever else there is<")

    assert overlaps(browser, svg) != []
