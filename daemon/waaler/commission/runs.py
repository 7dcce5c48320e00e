"""One attended run of the pump: asked of the guard until it grants it, watched, confirmed."""

from collections.abc import Callable

from waaler.commission.parts import Look
from waaler.commission.walking import Walk

__all__ = ["NotRun", "run_pump"]

ASK_EVERY_S = 10.0
CONFIRM_EVERY_S = 75.0
"""With half a minute for the answer this stays within the two minutes that the daemon grants."""


class NotRun(Exception):
    """The guard did not grant the run; says why."""


def run_pump(walk: Walk, seconds: float, watch: Callable[[Look], object] = lambda _: None) -> float:
    """Runs it; the seconds that it ran. watch: shown the bed about once a second.

    Raises: NotRun.
    """
    _ask(walk, seconds)
    began_s = confirmed_s = walk.site.now_s
    while True:
        walk.site.wait(1.0)
        look = walk.site.look()
        if not look.is_running:
            return walk.site.now_s - began_s
        watch(look)
        if walk.site.now_s >= confirmed_s + CONFIRM_EVERY_S:
            walk.site.order("confirm" if walk.person.stands_by() else "stop")
            confirmed_s = walk.site.now_s


def _ask(walk: Walk, seconds: float) -> None:
    """Waits while only time stands in the way, then asks: every ask that is refused would stand in the history."""
    end_s = walk.site.now_s + walk.answers_s
    told: str | None = None
    while (look := walk.site.look()).held_by is not None and walk.site.now_s < end_s:
        if look.held_by != told:
            told = look.held_by
            length = "until that is over" if look.held_s is None else f"{look.held_s / 60:.1f} min"
            walk.person.tell(f"Not yet: {told}. Waiting {length}.")
        walk.site.wait(ASK_EVERY_S if look.held_s is None else min(max(look.held_s, 1.0), ASK_EVERY_S))
    is_done, text = walk.site.order("water", seconds)
    if not is_done:
        raise NotRun(text.removeprefix("refused: "))
