"""Supply, line and meter as a judge sees them: what is live or moves though no run is on."""

from dataclasses import dataclass
from math import inf

__all__ = ["FLOWS_S", "LIVE_S", "Stray"]

LIVE_S = 0.2
"""A supply or a line that reads on for this long with the relay off is an overrun, and locks. Source: S1, S7."""

FLOWS_S = 30.0
FLOW_SHARE = 0.2
"""Water that moves so long, faster than a line that runs back, locks. Common practice, no source."""


@dataclass(slots=True)
class Stray:
    """is_live: what is read behind the last contact. is_line_on: of the relay's own line. l_per_min: None before a
    reading.

    live_since_s, line_since_s, flow_since_s: since when each reads what no run explains, inf where it does not.
    tested_live_s: since when the supply reads live at all; still_since_s: since when nothing flows.
    """

    is_live: bool = False
    is_line_on: bool = False
    l_per_min: float | None = None
    live_since_s: float = inf
    line_since_s: float = inf
    flow_since_s: float = inf
    tested_live_s: float = inf
    still_since_s: float = inf

    @property
    def is_any_on(self) -> bool:
        return self.is_live or self.is_line_on

    def supply(self, at_s: float, is_live: bool, is_run_on: bool) -> None:
        if is_live is not self.is_live:
            self.is_live = is_live
            self.tested_live_s = at_s if is_live else inf
            self.live_since_s = at_s if is_live and not is_run_on else inf

    def line(self, at_s: float, is_on: bool, is_run_on: bool) -> None:
        self.is_line_on = is_on
        self.line_since_s = inf if not is_on or is_run_on else min(self.line_since_s, at_s)

    def flow(self, at_s: float, l_per_min: float, normal_l_per_min: float | None, is_drained: bool) -> None:
        """is_drained: no run is on, and the line has had its time to run back."""
        self.l_per_min = l_per_min
        self.still_since_s = inf if l_per_min > 0 else min(self.still_since_s, at_s)
        if normal_l_per_min is None or not is_drained or l_per_min <= FLOW_SHARE * normal_l_per_min:
            self.flow_since_s = inf
        else:
            self.flow_since_s = min(self.flow_since_s, at_s)

    def relay(self, at_s: float, is_on: bool, is_new: bool) -> None:
        """is_new: a run begins."""
        self.live_since_s = at_s if self.is_live and not is_on else inf
        if is_new:
            self.flow_since_s = self.line_since_s = inf

    def on_since_s(self, has_read_back: bool) -> float:
        """Since when something is on that should be off."""
        return min(self.live_since_s if has_read_back else inf, self.line_since_s)
