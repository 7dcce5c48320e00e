"""The panel's thread: light and buzzer by what the bed does, orders by the button. Nothing on the box pauses."""

from collections.abc import Callable
from dataclasses import dataclass

from waaler.core.messages import OrderKind
from waaler.devices.panel import Panel, Press, PressWatch
from waaler.keeper.door import Request
from waaler.keeper.lasting import Died, LastingThread

__all__ = ["PanelThread", "View", "light_and_sound"]

LOOK_EVERY_S = 0.05
BY = "the button"


@dataclass(frozen=True, slots=True)
class View:
    """What the panel shows of. urgent: kinds of urgent alerts that stand. is_announced: a start is coming."""

    is_running: bool = False
    is_stopped: bool = False
    is_announced: bool = False
    urgent: frozenset[str] = frozenset()


def light_and_sound(view: View, silenced: frozenset[str], now_s: float) -> tuple[bool, bool]:
    """Whether the light is lit and the buzzer on at this instant.

    A start to come: both in half seconds. Running: lit. Stopped or urgent: blinking by the second, and a beep every
    five until silenced. All well: a wink every three seconds.
    """
    if view.is_announced:
        return _within(now_s, 1.0, 0.5), _within(now_s, 1.0, 0.5)
    is_loud = bool(view.urgent - silenced) and _within(now_s, 5.0, 0.2)
    if view.is_running:
        return True, is_loud
    if view.is_stopped or view.urgent:
        return _within(now_s, 2.0, 1.0), is_loud
    return _within(now_s, 3.0, 0.1), is_loud


def _within(now_s: float, period_s: float, on_s: float) -> bool:
    return now_s % period_s < on_s


class PanelThread(LastingThread):
    """view: of the bed now. planned_s: how long the plan's next cycle runs, None without one.

    order: hands an order to the keeper.
    """

    def __init__(
        self,
        panel: Panel,
        view: Callable[[], View],
        planned_s: Callable[[], float | None],
        order: Callable[[Request], object],
        now_s: Callable[[], float],
        died: Died,
    ) -> None:
        super().__init__("panel", died)
        self._panel, self._view, self._planned_s, self._order = panel, view, planned_s, order
        self._now_s = now_s
        self._press = PressWatch()
        self._silenced: frozenset[str] = frozenset()

    def work(self) -> None:
        while not self._ending.wait(LOOK_EVERY_S):
            self.look()
        self._panel.show(False, False)

    def stop(self) -> None:
        self._ending.set()

    def look(self) -> None:
        """One look at the button and the bed."""
        now_s, view = self._now_s(), self._view()
        self._silenced &= view.urgent
        press = self._press.see(self._panel.is_pressed, now_s)
        if press is not None:
            self._obey(press, view)
        self._panel.show(*light_and_sound(view, self._silenced, now_s))

    def _obey(self, press: Press, view: View) -> None:
        """Short: silence. Held 3 s: one planned run within the limits. Held 10 s: release what may be released."""
        if press is Press.SHORT:
            self._silenced = view.urgent
        elif press is Press.HELD_10_S:
            self._order(Request(OrderKind.CLEAR, BY))
        elif (seconds := self._planned_s()) is not None:
            self._order(Request(OrderKind.WATER, BY, seconds))
