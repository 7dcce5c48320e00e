"""The bed as its daemon tells it over the control socket."""

import time
from collections.abc import Callable, Mapping
from typing import Any

from waaler.commission.parts import Finding, Look
from waaler.core.status import status_of

__all__ = ["SocketSite"]

Ask = Callable[[Mapping[str, object]], dict[str, Any]]


class SocketSite:
    """ask: one order to the daemon and its answer; raises OSError where it is gone."""

    def __init__(self, ask: Ask, pause: Callable[[float], object] = time.sleep) -> None:
        self._ask, self._pause = ask, pause

    @property
    def now_s(self) -> float:
        return time.monotonic()

    def look(self) -> Look:
        status = status_of(self._ask({"do": "status"}))
        wet = next((reading.value for reading in status.readings if reading.name == "tray_wet"), None)
        held = status.held_by
        return Look(
            levels=status.inputs,
            is_running=status.run is not None,
            stops=status.trips,
            held_by=None if held is None else held.reason,
            held_s=None if held is None else held.seconds,
            is_tray_wet=None if wet is None else wet > 0.5,
            flow_l_per_min=status.flow_l_per_min,
            is_live=status.is_live,
        )

    def counts(self, name: str) -> float | None:
        answer = self._ask({"do": "counts", "name": name})
        return float(answer["counts"]) if answer["ok"] else None

    def order(self, do: str, seconds: float = 0.0) -> tuple[bool, str]:
        return self._give({"do": do, "seconds": seconds})

    def enter(self, finding: Finding) -> tuple[bool, str]:
        wrong = None if finding.wrong_float is None else finding.wrong_float.value
        said = {"do": "commission", "text": finding.entry, "amounts": dict(finding.amounts), "wrong_float": wrong}
        return self._give(said)

    def _give(self, order: Mapping[str, object]) -> tuple[bool, str]:
        answer = self._ask({key: value for key, value in order.items() if value})
        return bool(answer["ok"]), str(answer["text"])

    def wait(self, seconds: float) -> None:
        self._pause(seconds)
