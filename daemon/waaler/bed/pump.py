"""A pump's head by its flow."""

from dataclasses import dataclass
from math import inf, log

__all__ = ["PumpCurve", "bend_of", "from_label", "from_three_points"]


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """head = shut_off_head_m - b * flow^c, flow in m3/s; below zero past the free flow."""

    shut_off_head_m: float
    b: float
    c: float

    def head_m(self, flow_m3_per_s: float) -> float:
        """Head at a flow >= 0, metres."""
        return float(self.shut_off_head_m - self.b * flow_m3_per_s**self.c)

    @property
    def free_flow_m3_per_s(self) -> float:
        """Flow at no head at all."""
        return float((self.shut_off_head_m / self.b) ** (1 / self.c))


def from_label(free_flow_m3_per_s: float, shut_off_head_m: float) -> PumpCurve:
    """From the two figures on a pump's label, as a parabola between them. Common practice, no source."""
    return PumpCurve(shut_off_head_m, shut_off_head_m / free_flow_m3_per_s**2, 2.0)


def from_three_points(shut_off_head_m: float, duty: tuple[float, float], end: tuple[float, float]) -> PumpCurve:
    """Through (0, shut-off head) and two points (flow in m3/s, head in m), the second at more flow and less head.

    Raises ValueError where the points do not fall. Source: the three-point curve of the EPANET 2 manual, 3.1.
    """
    drop_1, drop_2 = shut_off_head_m - duty[1], shut_off_head_m - end[1]
    if not (0 < drop_1 < drop_2 and 0 < duty[0] < end[0]):
        raise ValueError("each point of a pump curve must have more flow and less head than the one before")
    c = bend_of(shut_off_head_m, duty, end)
    return PumpCurve(shut_off_head_m, drop_1 / duty[0] ** c, c)


def bend_of(shut_off_head_m: float, duty: tuple[float, float], end: tuple[float, float]) -> float:
    """The exponent of the flow in the curve through three points that fall; infinite for two of the same flow."""
    drops, flows = (shut_off_head_m - end[1]) / (shut_off_head_m - duty[1]), end[0] / duty[0]
    return log(drops) / log(flows) if flows > 1 else inf
