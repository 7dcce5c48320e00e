"""Light, buzzer and button, on mock lines and without waiting."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from gpiozero.pins import Factory

from waaler.bed.wiring import ButtonPin, OutputPin, Wiring
from waaler.core.messages import OrderKind
from waaler.devices.lines import mock_lines
from waaler.devices.panel import Panel, Press, PressWatch
from waaler.keeper.panel import PanelThread, View, light_and_sound

URGENT = frozenset({"sump-low"})


def pressed(spans: list[tuple[float, float]], until_s: float) -> list[tuple[float, Press]]:
    """What a watch tells of a contact that is closed within these spans, read every 50 ms."""
    watch, told = PressWatch(), []
    for n in range(round(until_s / 0.05)):
        now_s = n * 0.05
        press = watch.see(any(begin <= now_s < end for begin, end in spans), now_s)
        if press is not None:
            told.append((round(now_s, 2), press))
    return told


# --- the button ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spans", "told"),
    [
        ([], []),
        ([(1.0, 1.02)], []),  # a bounce
        ([(0.0, 60.0)], []),  # pressed since before the start: stuck, or somebody leans on it
        ([(1.0, 1.3)], [(1.3, Press.SHORT)]),
        ([(1.0, 3.95)], [(3.95, Press.SHORT)]),
        ([(1.0, 4.05)], [(4.05, Press.HELD_3_S)]),
        ([(1.0, 10.95)], [(10.95, Press.HELD_3_S)]),
        ([(1.0, 30.0)], [(11.0, Press.HELD_10_S)]),
        ([(1.0, 1.3), (2.0, 2.3)], [(1.3, Press.SHORT), (2.3, Press.SHORT)]),
    ],
)
def test_a_press_is_told_by_its_length(spans: list[tuple[float, float]], told: list[tuple[float, Press]]) -> None:
    assert pressed(spans, 40.0) == told


@dataclass
class Desk:
    """A panel on mock lines, the thread's looks by hand."""

    factory: Factory
    view: View = field(default_factory=View)
    planned_s: float | None = 150.0
    now_s: float = 1000.0

    def __post_init__(self) -> None:
        self.orders: list[tuple[OrderKind, str, float]] = []
        wiring = Wiring(status_light=OutputPin(12), buzzer=OutputPin(16, on_is_high=False), button=ButtonPin(20))
        self.thread = PanelThread(
            Panel(wiring, self.factory),
            lambda: self.view,
            lambda: self.planned_s,
            lambda asked: self.orders.append((asked.kind, asked.by, asked.seconds)),
            lambda: self.now_s,
            lambda *_: None,
        )
        self.look()

    def look(self, seconds: float = 0.0) -> None:
        end_s = self.now_s + seconds
        while True:
            self.thread.look()
            if self.now_s >= end_s:
                return
            self.now_s += 0.05

    def press(self, seconds: float) -> None:
        self.factory.pin(20).drive_low()
        self.look(seconds)
        self.factory.pin(20).drive_high()
        self.look()

    def beeps(self, seconds: float) -> bool:
        """Whether the buzzer, on by a low level, was on at any look."""
        end_s, heard = self.now_s + seconds, False
        while self.now_s < end_s:
            self.look(0.05)
            heard |= not self.factory.pin(16).state
        return heard


@pytest.fixture
def desk() -> Iterator[Desk]:
    factory = mock_lines()
    yield Desk(factory)
    factory.close()


def test_a_short_press_silences_what_stands_and_nothing_that_comes_later(desk: Desk) -> None:
    desk.view = View(urgent=URGENT)
    assert desk.beeps(6.0)
    desk.press(0.3)
    assert not desk.beeps(12.0)
    desk.view = View(urgent=URGENT | {"overrun"})
    assert desk.beeps(6.0)
    desk.press(0.3)
    desk.view = View()
    desk.look()
    desk.view = View(urgent=URGENT)

    assert desk.beeps(6.0)
    assert desk.orders == []


def test_three_seconds_ask_for_one_planned_run_and_ten_for_a_release(desk: Desk) -> None:
    desk.press(3.5)
    desk.press(12.0)

    assert desk.orders == [(OrderKind.WATER, "the button", 150.0), (OrderKind.CLEAR, "the button", 0.0)]


def test_without_a_plan_for_today_three_seconds_ask_for_nothing(desk: Desk) -> None:
    desk.planned_s = None
    desk.press(3.5)

    assert desk.orders == []


def test_nothing_on_the_box_pauses(desk: Desk) -> None:
    for seconds in (0.2, 1.0, 3.5, 7.0, 10.5, 30.0):
        desk.press(seconds)

    assert {kind for kind, _, _ in desk.orders} <= {OrderKind.WATER, OrderKind.CLEAR}


# --- light and buzzer ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("view", "lit", "loud"),
    [
        (View(), 0.03, 0.0),
        (View(is_running=True), 1.0, 0.0),
        (View(is_stopped=True), 0.5, 0.0),
        (View(urgent=URGENT), 0.5, 0.04),
        (View(is_running=True, urgent=URGENT), 1.0, 0.04),
        (View(is_announced=True), 0.5, 0.5),
        (View(is_announced=True, is_stopped=True, urgent=URGENT), 0.5, 0.5),
    ],
)
def test_what_is_lit_and_loud_for_which_share_of_the_time(view: View, lit: float, loud: float) -> None:
    found = [light_and_sound(view, frozenset(), n * 0.01) for n in range(3000)]

    assert sum(one for one, _ in found) / 3000 == pytest.approx(lit, abs=0.005)
    assert sum(one for _, one in found) / 3000 == pytest.approx(loud, abs=0.005)


def test_a_panel_without_devices_shows_nothing_and_is_never_pressed(desk: Desk) -> None:
    panel = Panel(Wiring(), desk.factory)
    panel.show(True, True)

    assert not panel.is_pressed
