"""A judge that also writes down what it hears."""

from typing import Any

from waaler.rehearsal.monitor import Monitor

__all__ = ["Heard"]

HEARS = frozenset(
    {
        "level", "relay", "supply", "line", "flow", "power", "stall", "asked", "granted", "refused", "told_to_cut",
        "stopped", "held", "resumed", "hold_over", "locked", "cleared", "stays", "lifted", "limits",
    }
)  # fmt: skip


class Heard(Monitor):
    """lines: when, and what, in words. inner: whose rules it judges by."""

    def __init__(self, inner: Monitor) -> None:
        super().__init__(inner.rules, wire_s=inner.wire_s)
        self.lines: list[tuple[float, str]] = []

    def __getattribute__(self, name: str) -> Any:
        found = super().__getattribute__(name)
        if name not in HEARS:
            return found
        lines = super().__getattribute__("lines")

        def hear(at_s: float, *what: Any) -> None:
            words = " ".join(f"{one:.1f}" if isinstance(one, float) else str(one) for one in what)
            lines.append((at_s, f"{at_s:12.3f} s  {name.replace('_', ' ')} {words}"))
            found(at_s, *what)

        return hear
