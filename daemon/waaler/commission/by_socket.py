"""The bed as its daemon tells it over the control socket."""

import time
from collections.abc import Callable, Mapping
from typing import Any

from waaler.commission.parts import Look

__all__ = ["SocketSite"]

Ask = Callable[[dict[str, Any]], dict[str, Any]]


class SocketSite:
    """ask: one order to the daemon and its answer; raises OSError where it is gone."""

    def __init__(self, ask: Ask, pause: Callable[[float], object] = time.sleep) -> None:
        self._ask, self._pause = ask, pause

    @property
    def now_s(self) -> float:
        return time.monotonic()

    def look(self) -> Look:
        status = self._ask({"do": "status"})
        wet = next((reading for reading in status["readings"] if reading["name"] == "tray_wet"), None)
        held = status["held_by"] or {}
        return Look(
            levels=status["inputs"],
            is_running=status["run"] is not None,
            stops=tuple(status["trips"]),
            held_by=held.get("reason"),
            held_s=held.get("seconds"),
            is_tray_wet=None if wet is None or wet["value"] is None else wet["value"] > 0.5,
            flow_l_per_min=status["flow_l_per_min"],
            is_live=status["is_live"],
        )

    def counts(self, name: str) -> float | None:
        answer = self._ask({"do": "counts", "name": name})
        return float(answer["counts"]) if answer["ok"] else None

    def order(
        self, do: str, seconds: float = 0.0, text: str = "", amounts: Mapping[str, float] | None = None
    ) -> tuple[bool, str]:
        order: dict[str, Any] = {"do": do, "seconds": seconds, "text": text, "amounts": dict(amounts or {})}
        answer = self._ask(order)
        return bool(answer["ok"]), str(answer["text"])

    def wait(self, seconds: float) -> None:
        self._pause(seconds)
