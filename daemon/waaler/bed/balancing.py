"""Making outlets alike: how long to cut each tube, or how far to pinch it; and fitting the model to a bucket test.

Outlets near the pump take too much, and the far ones starve until the near ones are throttled.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import pi
from statistics import fmean, median

from waaler.bed.friction import STANDARD_GRAVITY_M_PER_S2
from waaler.bed.layout import Layout, Tube, Watering, opening_of, pinch_k, tube_loss_m, watering, with_tubes

__all__ = ["BLOCKED_SHARE", "cut_list", "fitted", "is_blocked", "next_try", "pinch_list"]

ROUNDS = 60
ALIKE = 2e-3
LONGEST_TUBE_M = 3.0
LEAST_OPENING = 0.02
"""Less than this is a closed tube. Common practice, no source."""

BLOCKED_SHARE = 0.5
"""An outlet under this share of the median is blocked: to be cleaned, not balanced. Source: our own rule."""

MOST_CHANGES = 4

Throttle = Callable[[Layout, Tube, float, float], Tube]
"""Layout, a tube, the flow that it shall give (m3/s), and the head that it has for it (m)."""


def cut_list(layout: Layout) -> Layout:
    """Tubes lengthened until all outlets give what the weakest does; none is cut shorter than it is.

    A tube that would need more than 3 m stays there. Raises NoFlow.
    """
    long_enough = _alike(layout, _lengthened)
    tubes = tuple(
        replace(tube, length_m=max(tube.length_m, before.length_m))
        for tube, before in zip(long_enough.tubes, layout.tubes, strict=True)
    )
    return with_tubes(long_enough, tubes)


def pinch_list(layout: Layout) -> Layout:
    """Tubes pinched until all outlets give what the weakest open one does. Raises NoFlow."""
    open_tubes = tuple(replace(tube, opening=1.0) for tube in layout.tubes)
    return _alike(with_tubes(layout, open_tubes), _pinched)


def fitted(layout: Layout, l_per_min: Sequence[float]) -> tuple[Layout, tuple[int, ...]]:
    """The layout with the openings that make it flow as measured, and the outlets that gave more than it can.

    l_per_min: of every outlet, in the order of their numbers. Raises ValueError for another count.
    """
    if len(l_per_min) != len(layout.tubes):
        raise ValueError(f"{len(l_per_min)} outlets were measured, the layout has {len(layout.tubes)}")
    fit = layout
    for _ in range(ROUNDS):
        now = watering(fit)
        errors = [abs(a - b) for a, b in zip(now.outlets_l_per_min, l_per_min, strict=True)]
        if max(errors) < ALIKE * fmean(l_per_min):
            break
        fit = _stepped(fit, now, l_per_min, _pinched)
    now = watering(fit)
    over = [n for n, (a, b) in enumerate(zip(now.outlets_l_per_min, l_per_min, strict=True), 1) if b > 1.02 * a]
    return fit, tuple(over)


def is_blocked(flows: Sequence[float]) -> tuple[bool, ...]:
    """For each outlet whether it gives less than half the median."""
    limit = BLOCKED_SHARE * median(flows)
    return tuple(flow < limit for flow in flows)


def next_try(flows: Sequence[float], openings: Sequence[float]) -> dict[int, float]:
    """For at most four outlets, by number from 1, the share of its present flow that each should give.

    Under 1: pinch; over 1: open a pinched one. The farthest from the mean go first; blocked ones are left out.
    """
    blocked = is_blocked(flows)
    mean = fmean(flow for flow, is_out in zip(flows, blocked, strict=True) if not is_out)
    wanted = {
        n: mean / flow
        for n, (flow, is_out) in enumerate(zip(flows, blocked, strict=True), start=1)
        if not is_out and (flow > mean or openings[n - 1] < 1)
    }
    farthest = sorted(wanted, key=lambda n: -abs(1 - wanted[n]))[:MOST_CHANGES]
    return {n: wanted[n] for n in sorted(farthest) if abs(1 - wanted[n]) > 0.02}


def _alike(layout: Layout, throttle: Throttle) -> Layout:
    """Throttles round by round, so that every outlet gives what the weakest of them then gives."""
    for _ in range(ROUNDS):
        now = watering(layout)
        flows = [flow for flow in now.outlets_l_per_min if flow > 0]
        least = min(flows)
        if max(flows) - least < ALIKE * least:
            break
        # as others are throttled the weakest gains: aim between it and the mean
        aim = least + 0.5 * (fmean(flows) - least)
        layout = _stepped(layout, now, [aim] * len(layout.tubes), throttle)
    return layout


def _stepped(layout: Layout, now: Watering, targets: Sequence[float], throttle: Throttle) -> Layout:
    """Each tube throttled so that at the present head of its place in the line it would give its target."""
    tubes = tuple(
        throttle(layout, tube, target / 60_000, head_m - tube.end_m)
        for tube, target, head_m in zip(layout.tubes, targets, now.heads_m, strict=True)
    )
    return with_tubes(layout, tubes)


def _lengthened(layout: Layout, tube: Tube, flow_m3_per_s: float, head_m: float) -> Tube:
    """As long as makes it lose head_m at this flow; halfway there, since the heads move with it."""
    fixed_m = tube_loss_m(layout, replace(tube, length_m=0.0), flow_m3_per_s)
    per_m = tube_loss_m(layout, replace(tube, length_m=1.0), flow_m3_per_s) - fixed_m
    wanted_m = min(max((head_m - fixed_m) / per_m, tube.length_m), LONGEST_TUBE_M)
    return replace(tube, length_m=(tube.length_m + wanted_m) / 2)


def _pinched(layout: Layout, tube: Tube, flow_m3_per_s: float, head_m: float) -> Tube:
    """Pinched so that it loses head_m at this flow; halfway there on the loss, since the heads move with it."""
    if flow_m3_per_s <= 0:
        return replace(tube, opening=LEAST_OPENING)
    open_m = tube_loss_m(layout, replace(tube, opening=1.0), flow_m3_per_s)
    velocity = flow_m3_per_s / (pi * tube.bore_m**2 / 4)
    wanted_k = max(0.0, (head_m - open_m) / (velocity**2 / (2 * STANDARD_GRAVITY_M_PER_S2)))
    opening = opening_of((wanted_k + pinch_k(tube.opening)) / 2)
    return replace(tube, opening=max(LEAST_OPENING, opening))
