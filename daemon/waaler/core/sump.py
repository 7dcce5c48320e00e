"""The sump over the days: its expected level, the forecast, refills, and water that is missing."""

from dataclasses import replace
from datetime import datetime, timedelta
from math import inf

from waaler.bed.figures import Figures
from waaler.core import texts
from waaler.core.facts import Amount, Severity
from waaler.core.level import Mix, SumpLevel, Tended, drunk_l, low_at
from waaler.core.memory import Memory
from waaler.core.turn import Turn
from waaler.core.words import may_refill
from waaler.guard.messages import Trip
from waaler.plan.sensing import AdviserKind

__all__ = ["GAUGE", "LEAK", "REFILL_DUE", "SOON_LOW", "begin", "look", "measured_ec", "poured", "read", "was_low"]

GAUGE = "sump"
"""The name under which a level at rest, in litres, is read or entered."""

LOW, SOON_LOW, REFILL_DUE = "sump-low", "sump-soon-low", "refill-due"
SOLUTION_DUE, LEAK = "solution-due", "leak"
LOOK_EVERY_S, SELDOM_S = 600.0, 6 * 3600.0
SOON = timedelta(hours=48)
DUE = timedelta(hours=12)
"""How far ahead the two forecasts look. With LEAST_LOSS_SHARE and DRINK_DOUBT: common practice, no source."""

FAR = timedelta.max
PATIENCE = 1.25
"""A forecast that stands is over only so much beyond its limit, or a gauge that trembles would raise it every hour.
Common practice, no source."""

LEAST_LOSS_SHARE = 0.05
DRINK_DOUBT = 0.5
AT_ONCE_S = 3 * 3600.0
WEIGH_EVERY_S = 6 * 3600.0
GAUGE_DEAD_S, LEAK_STANDS_S = AT_ONCE_S, 86_400.0
"""How long runs stay halved without a level reading: beside a gauge that went silent, and without one. Common
practice, no source."""

KEPT_SHARE = 0.4
"""Of a run's water the pots may keep, at most: the drain share of common practice leaves a fifth to run back."""


def begin(turn: Turn, memory: Memory) -> None:
    """Follows what the records tell of the past up to now."""
    for event in memory.tended:
        _replay(turn, event)


def poured(turn: Turn, amounts: tuple[Amount, ...], is_renewal: bool) -> None:
    """A refill was entered; without an amount it is taken to have reached the full mark."""
    litres = sum(amount.value for amount in amounts if amount.unit == "L") if amounts else None
    _replay(turn, Tended(turn.now_s, "renewal" if is_renewal else "refill", litres))
    turn.resolve(LEAK)
    turn.set(look_at_sump_s=-inf)


def measured_ec(turn: Turn, value: float) -> None:
    _replay(turn, Tended(turn.now_s, "EC", value))


def was_low(turn: Turn) -> None:
    """The float reads low at rest: that is a level."""
    _replay(turn, Tended(turn.now_s, "low"))
    turn.set(look_at_sump_s=-inf)


def read(turn: Turn, litres: float, is_gauge: bool = False) -> bool:
    """A level was read. Only one at rest counts; whether it was.

    More than expected: somebody refilled and did not enter it. Less: water is missing, at once after a run, or
    slowly since the last time that it was weighed up: for a gauge, which reads all the time, some hours ago.
    """
    state = turn.state
    if not may_refill(state, turn.now_s) or state.care.figures is None:
        return False
    new, known, basis = SumpLevel(litres, turn.now_s), state.level, state.level_basis
    turn.set(level=new, look_at_sump_s=-inf if not is_gauge else state.look_at_sump_s)
    if known is None or basis is None:
        turn.set(level_basis=new)
    elif litres > basis.litres + _least_l(state.care.figures):
        _rose(turn, basis, litres)
    elif known.at_s < state.last_stop_s and turn.now_s - known.at_s <= AT_ONCE_S:
        _after_run(turn, known, litres)
    elif not is_gauge or turn.now_s - basis.at_s >= WEIGH_EVERY_S:
        _slowly(turn, basis, litres)
    return True


def look(turn: Turn) -> float:
    """The forecast, when it may say something else than before; the instant of the next look."""
    leak_s = _look_at_leak(turn)
    state = turn.state
    if state.level is None:
        return leak_s
    if turn.now_s >= state.look_at_sump_s:
        turn.set(look_at_sump_s=turn.now_s + _foresee(turn))
        _judge_mix(turn)
    return min(leak_s, turn.state.look_at_sump_s)


def _look_at_leak(turn: Turn) -> float:
    """What halves the runs ends when nobody has read the level for long: the suspicion stays, the plan goes on."""
    state, leak = turn.state, turn.state.alerts.get(LEAK)
    if leak is None or leak.severity is not Severity.URGENT:
        return inf
    has_gauge = any(one.adviser.kind is AdviserKind.LEVEL and not one.adviser.is_coarse for one in state.advisers)
    read_s = leak.raised_s if state.level is None else max(leak.raised_s, state.level.at_s)
    until_s = read_s + (GAUGE_DEAD_S if has_gauge else LEAK_STANDS_S)
    if turn.now_s >= until_s:
        turn.resolve(LEAK)
        turn.alert(LEAK, Severity.SOON, texts.LEAK_UNSEEN)
        return inf
    return until_s


def _foresee(turn: Turn) -> float:
    """One alert a cause: soon low, then a refill due, then low at rest, each ending the one before.

    Gives the seconds until time alone may change it.
    """
    state = turn.state
    assert state.level is not None
    if LOW in state.alerts:
        turn.resolve(SOON_LOW)
        turn.resolve(REFILL_DUE)
        return LOOK_EVERY_S
    if Trip.LOW_SUMP in state.trips:
        return LOOK_EVERY_S  # a dip, or low at rest in a while: until that is known nothing is new
    low = low_at(state.care, _expected_l(turn, state.level), turn.local)
    ahead = FAR if low is None else low - turn.local
    if ahead <= DUE * (PATIENCE if REFILL_DUE in state.alerts else 1):
        turn.resolve(SOON_LOW)
        turn.alert(REFILL_DUE, Severity.URGENT, texts.REFILL_DUE)
        return LOOK_EVERY_S
    turn.resolve(REFILL_DUE)
    notice = _notice(turn)
    if low is not None and ahead <= notice * (PATIENCE if SOON_LOW in state.alerts else 1):
        turn.alert(SOON_LOW, Severity.SOON, texts.soon_low(f"about {low:%A %-d %b} {_hour(low)}"))
    else:
        turn.resolve(SOON_LOW)
    left = ahead - (notice if ahead > notice else DUE)
    return min(SELDOM_S, max(LOOK_EVERY_S, left.total_seconds()))


def _notice(turn: Turn) -> timedelta:
    """How long before it is told; where a full sump lasts few days, the last third of them."""
    figures = turn.state.care.figures
    full = None if figures is None else low_at(turn.state.care, figures.sump_full_l, turn.local)
    return SOON if full is None else min(SOON, (full - turn.local) / 3)


def _hour(moment: datetime) -> str:
    return f"{(moment + timedelta(minutes=30)).hour:02}:00"


def _judge_mix(turn: Turn) -> None:
    mix, care = turn.state.mix, turn.state.care
    if mix is None or care.figures is None:
        return
    is_old = turn.now_s - mix.at_s >= care.renew_after_days * 86_400
    if is_old or mix.topped_l >= care.figures.sump_full_l:
        turn.alert(SOLUTION_DUE, Severity.NOTE, texts.SOLUTION_DUE)
    else:
        turn.resolve(SOLUTION_DUE)


def _least_l(figures: Figures) -> float:
    """A difference smaller than this shows nothing."""
    return LEAST_LOSS_SHARE * figures.sump_full_l


def _rose(turn: Turn, known: SumpLevel, litres: float) -> None:
    turn.deed("refill", f"amount unknown; the level rose by {litres - known.litres + _drunk_l(turn, known):.0f} L")
    turn.set(level_basis=SumpLevel(litres, turn.now_s))
    turn.resolve(LEAK)


def _after_run(turn: Turn, known: SumpLevel, litres: float) -> None:
    """What did not come back, less what the pots can have kept of the run and the plants have drunk."""
    figures = turn.state.care.figures
    assert figures is not None
    run_l = turn.state.last_run_s / 60 * figures.pump_l_per_min
    kept_l = max(KEPT_SHARE * run_l, min(run_l, _thirst_l(turn)))
    if kept_l > KEPT_SHARE * run_l:
        turn.set(level_basis=SumpLevel(litres, turn.now_s))  # what dry pots took is no slow loss either
    if _missing_l(turn, known, litres) > kept_l:
        turn.alert(LEAK, Severity.URGENT, texts.LEAK)
    elif LEAK in turn.state.alerts and turn.state.alerts[LEAK].severity is Severity.URGENT:
        turn.resolve(LEAK)


def _thirst_l(turn: Turn) -> float:
    """What the pots lacked before the last run: dry ones keep all of it, and that is no leak."""
    state = turn.state
    before_s = state.full_before_s if state.last_full_s == state.last_stop_s else state.last_full_s
    if before_s == -inf:
        return inf
    return (1 + DRINK_DOUBT) * drunk_l(state.care, _local(turn, before_s), _local(turn, state.last_stop_s))


def _slowly(turn: Turn, basis: SumpLevel, litres: float) -> None:
    turn.set(level_basis=SumpLevel(litres, turn.now_s))
    if _missing_l(turn, basis, litres) > 0:
        turn.alert(LEAK, Severity.SOON, texts.LOSS)
    else:
        turn.resolve(LEAK)


def _missing_l(turn: Turn, known: SumpLevel, litres: float) -> float:
    """Beyond what the plants can have drunk; at or below 0 nothing is."""
    figures = turn.state.care.figures
    assert figures is not None
    return known.litres - litres - (1 + DRINK_DOUBT) * _drunk_l(turn, known) - _least_l(figures)


def _expected_l(turn: Turn, known: SumpLevel) -> float:
    return known.litres - _drunk_l(turn, known)


def _drunk_l(turn: Turn, known: SumpLevel, until_s: float | None = None) -> float:
    until_s = turn.now_s if until_s is None else until_s
    return drunk_l(turn.state.care, _local(turn, known.at_s), _local(turn, until_s))


def _local(turn: Turn, long_s: float) -> datetime:
    return turn.local_of(turn.at.wall_s + long_s - turn.now_s)


def _replay(turn: Turn, event: Tended) -> None:
    """One thing that happened to the sump, now or in the past. What is only assumed weighs nothing."""
    figures, mix = turn.state.care.figures, turn.state.mix
    if event.what == "EC" and event.value is not None and mix is not None:
        first = event.value if mix.first_ec is None else mix.first_ec
        turn.set(mix=replace(mix, first_ec=first, last_ec=event.value))
    if figures is None or event.what == "EC":
        return
    level = SumpLevel(_level_after(turn, event), event.at_s)
    is_assumed = event.what == "began" or (event.what == "refill" and event.value is None)
    turn.set(level=level, level_basis=None if is_assumed else level)
    if event.what in ("began", "renewal"):
        turn.set(mix=Mix(event.at_s))
    elif event.what == "refill" and mix is not None:
        turn.set(mix=Mix(mix.at_s, mix.topped_l + (event.value or 0.0)))


def _level_after(turn: Turn, event: Tended) -> float:
    figures, known = turn.state.care.figures, turn.state.level
    assert figures is not None
    if event.what == "sump" and event.value is not None:
        return event.value
    if event.what == "low":
        return figures.sump_low_l
    if event.what != "refill" or event.value is None or known is None:
        return figures.sump_full_l
    left_l = max(figures.sump_empty_l, known.litres - _drunk_l(turn, known, event.at_s))
    return min(figures.sump_full_l, left_l + event.value)
