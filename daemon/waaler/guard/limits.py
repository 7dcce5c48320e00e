"""The guard's limits: what the grower's file may set, with the defaults of common practice."""

from dataclasses import dataclass, replace

__all__ = ["Limits", "as_fitted", "within_ceilings"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Everything the guard needs to know. Seconds unless the name says otherwise.

    Defaults: common practice, no source; the rehearsal and the fault campaign carry them.

    has_sump_float, has_tray_float: which protective inputs are fitted.
    longest_run_s: no run is longer.
    most_per_day_s: most pump time in any rolling 24 h; guards pump and house, it is no dose.
    rest_s: least time off between two runs; attended_rest_s while a person stands by.
    settle_sump_s, settle_tray_s: how long an input must be good again after a trip.
    run_back_s: how long water needs to return to the sump after a run.
    confirm_s: how long an input must be bad to act.
    stale_after_s: an input not read for this long counts as bad.
    start_delay_s: good inputs needed after the daemon's start.
    most_starts_per_h: starts in any rolling hour.
    flow_within_s: flow must be seen this long after a start; only with a flow meter.
    line_drain_s: flow is ignored this long after a stop, while the line runs back.
    normal_flow_l_per_min: None without a flow meter.
    has_read_back: whether an input shows the supply behind the last contact.
    has_cutoff: whether a second relay in series is fitted.
    late_s: a relay found on this long past its deadline is an overrun.
    """

    has_sump_float: bool = True
    has_tray_float: bool = True
    longest_run_s: float = 600.0
    most_per_day_s: float = 3600.0
    rest_s: float = 300.0
    attended_rest_s: float = 10.0
    settle_sump_s: float = 1200.0
    settle_tray_s: float = 600.0
    run_back_s: float = 1200.0
    confirm_s: float = 0.3
    stale_after_s: float = 1.0
    start_delay_s: float = 120.0
    most_starts_per_h: int = 6
    flow_within_s: float = 30.0
    line_drain_s: float = 60.0
    normal_flow_l_per_min: float | None = None
    has_read_back: bool = False
    has_cutoff: bool = False
    late_s: float = 2.0


LONGEST_RUN_S, LONGEST_DAY_S = 7_200.0, 86_400.0
LEAST_REST_S, LONGEST_CONFIRM_S, LONGEST_STALE_S, LONGEST_FLOW_WITHIN_S = 10.0, 5.0, 5.0, 600.0
"""The guard's own ceilings: what no file and no fault of its readers can pass. Common practice, no source."""


def within_ceilings(limits: Limits) -> Limits:
    """The limits, none of them looser than the guard's own ceilings."""
    return replace(
        limits,
        longest_run_s=min(limits.longest_run_s, LONGEST_RUN_S),
        most_per_day_s=min(limits.most_per_day_s, LONGEST_DAY_S),
        rest_s=max(limits.rest_s, LEAST_REST_S),
        attended_rest_s=max(limits.attended_rest_s, LEAST_REST_S),
        confirm_s=min(limits.confirm_s, LONGEST_CONFIRM_S),
        stale_after_s=min(limits.stale_after_s, LONGEST_STALE_S),
        flow_within_s=min(limits.flow_within_s, LONGEST_FLOW_WITHIN_S),
    )


def as_fitted(limits: Limits, before: Limits) -> Limits:
    """New limits with what is fitted as before.

    An input or a meter that the file has only now brings none of its limits before its line is open, and one that
    the file has no longer keeps them until its line is closed: both wait for a restart.
    """
    fitted = before.normal_flow_l_per_min
    return replace(
        limits,
        has_sump_float=before.has_sump_float,
        has_tray_float=before.has_tray_float,
        has_read_back=before.has_read_back,
        has_cutoff=before.has_cutoff,
        normal_flow_l_per_min=fitted and (limits.normal_flow_l_per_min or fitted),
    )
