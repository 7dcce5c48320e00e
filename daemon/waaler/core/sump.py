"""The sump over the days: its expected level, the forecast, refills, and water that is missing."""

from dataclasses import replace
from datetime import timedelta
from math import inf

from waaler.bed.figures import Figures
from waaler.bed.ledger import Entry, SumpBook, full, lost_l, outlook
from waaler.bed.ledger import poured as poured_into
from waaler.core.alert import AlertKind
from waaler.core.deduced import low_at_rest_s, may_refill
from waaler.core.facts import Act, Amount, SumpNoted
from waaler.core.sump_state import Forecast, Leak, LeakSign, SumpState, entry_at, local, outlook_at
from waaler.core.turn import Turn
from waaler.guard.messages import Trip
from waaler.plan.sensing import AdviserKind

__all__ = ["GAUGE", "LEAST_WATERING_S", "is_high_enough", "least_s", "look", "measured_ec", "poured", "read"]

GAUGE = "sump"
"""The name under which a level at rest, in litres, is read or entered."""

LOOK_EVERY_S, SELDOM_S = 600.0, 6 * 3600.0
SOON = timedelta(hours=48)
DUE_S = 12 * 3600.0
"""How far ahead is looked. With LEAST_LOSS_SHARE and DRINK_DOUBT: common practice, no source."""

NOTE_EVERY_S = 600.0
"""A gauge reads all the time; so often its level becomes an entry of the ledger."""

LEAST_LOSS_SHARE = 0.05
DRINK_DOUBT = 0.5
AT_ONCE_S = 3 * 3600.0
WEIGH_EVERY_S = 6 * 3600.0
GAUGE_DEAD_S, LEAK_STANDS_S = AT_ONCE_S, 86_400.0
"""How long runs stay halved without a level reading: beside a gauge that went silent, and without one. Common
practice, no source."""

LEAST_WATERING_S = 30.0
"""A run that ends so soon after the line is full gave the plants nothing. Common practice, no source."""

KEPT_SHARE = 0.4
"""Of a run's water the pots may keep, at most: the drain share of common practice leaves a fifth to run back."""


def poured(turn: Turn, amounts: tuple[Amount, ...], is_renewal: bool) -> None:
    """A refill was entered; without an amount it is taken to have reached the full mark."""
    book, sump = turn.setup.care.book, turn.state.water.sump
    if book is not None and sump is not None:
        entry = full(book) if is_renewal else _filled(turn, book, sump, amounts)
        is_known = is_renewal or bool(amounts)
        new = SumpState(
            entry,
            turn.now_s,
            entry.litres if is_known else None,
            turn.now_s,
            turn.now_s if is_renewal else sump.renewed_s,
        )
        _enter(turn, new)
    _look_soon(turn)


def _filled(turn: Turn, book: SumpBook, sump: SumpState, amounts: tuple[Amount, ...]) -> Entry:
    """With what was poured, up to the full mark."""
    entry = _now(turn, book, sump)
    room_l = max(0.0, book.figures.sump_full_l - entry.litres)
    if not amounts:
        return poured_into(entry, room_l, book.water_ec if sump.has_risen else book.fresh_ec)
    for amount in amounts:
        if amount.unit == "L":
            litres = min(amount.value, room_l)
            entry = poured_into(entry, litres, book.water_ec if amount.name == "water" else book.fresh_ec)
            room_l -= litres
    return entry


def measured_ec(turn: Turn, value: float) -> None:
    book, sump = turn.setup.care.book, turn.state.water.sump
    if book is None or sump is None:
        return
    entry = replace(_now(turn, book, sump), ec=value)
    first = value if sump.first_ec is None else sump.first_ec
    _enter(turn, replace(sump, entry=entry, at_s=turn.now_s, first_ec=first, last_ec=value))


def _was_low(turn: Turn) -> None:
    """The float reads low at rest: that is a level."""
    book = turn.setup.care.book
    if book is not None:
        _set_level(turn, book, book.figures.sump_low_l, is_weighed=True)
    _look_soon(turn)


def read(turn: Turn, litres: float, is_gauge: bool = False) -> bool:
    """A level was read. Only one at rest counts. Returns whether it did.

    More than expected: somebody refilled and did not enter it. Less: water is missing, at once after a run, or
    slowly since the last time that it was weighed up: for a gauge, which reads all the time, some hours ago.
    """
    state = turn.state
    book, known = state.setup.care.book, state.water.sump
    if book is None or known is None or not may_refill(state):
        return False
    if is_gauge and not _is_news(turn, book, known, litres):
        return True
    is_first_weighed = known.weighed_l is None
    _set_level(turn, book, litres, is_weighed=is_first_weighed)
    if not is_gauge:
        _look_soon(turn)
    if litres > book.figures.sump_low_l + book.figures.dip_l(least_s(turn)):
        is_high_enough(turn)
    if known.weighed_l is None:
        return True
    if litres > known.weighed_l + _least_l(book.figures):
        _rose(turn, book, known, litres)
    elif known.at_s < state.account.last_stop_s and turn.now_s - known.at_s <= AT_ONCE_S:
        _after_run(turn, book, known, litres)
    elif not is_gauge or turn.now_s - known.weighed_s >= WEIGH_EVERY_S:
        _slowly(turn, book, known, litres)
    return True


def _is_news(turn: Turn, book: SumpBook, known: SumpState, litres: float) -> bool:
    """Whether a gauge's level is worth an entry: the first after a run, one of minutes later, or another."""
    is_after_run = known.at_s < turn.state.account.last_stop_s
    is_old = turn.now_s - known.at_s >= NOTE_EVERY_S
    return is_after_run or is_old or abs(litres - known.entry.litres) > _least_l(book.figures)


def least_s(turn: Turn) -> float:
    """Seconds of a run before it is worth anything: to fill the line, and then LEAST_WATERING_S."""
    book = turn.setup.care.book
    return LEAST_WATERING_S + (0.0 if book is None else book.figures.fill_s)


def is_high_enough(turn: Turn) -> None:
    """The sump can carry a run again: what waited for that comes at once."""
    if turn.state.dips.vain == 0:
        return
    turn.put(replace(turn.state.dips, vain=0, try_at_s=-inf))
    turn.put(replace(turn.state.later, catch_up_at_s=-inf, soak_at_s=min(turn.state.later.soak_at_s, turn.now_s)))
    turn.deed(Act.HIGH_ENOUGH, "the sump can carry runs again; the plan goes on")


def look(turn: Turn) -> float:
    """Keeps ledger, leak and forecast up to date; the instant of the next look."""
    book = turn.setup.care.book
    low_s = _look_at_float(turn)
    if book is None:
        return low_s
    sump = turn.state.water.sump
    if sump is None:
        # a bed of which nothing is known is taken to be full of fresh solution; that is only assumed
        sump = SumpState(full(book), turn.now_s, renewed_s=turn.now_s)
        _enter(turn, sump)
    leak_s = _look_at_leak(turn)
    if turn.now_s >= turn.state.water.forecast.look_at_s:
        turn.put(replace(turn.state.water, forecast=_foresee(turn, book, sump)))
    return min(low_s, leak_s, turn.state.water.forecast.look_at_s)


def _look_soon(turn: Turn) -> None:
    turn.put(replace(turn.state.water, forecast=replace(turn.state.water.forecast, look_at_s=-inf)))


def _look_at_float(turn: Turn) -> float:
    """The float that reads low at rest is a level, entered once; when it may be."""
    low_s = low_at_rest_s(turn.state)
    if turn.now_s < low_s:
        return low_s
    if AlertKind.SUMP_LOW not in turn.state.alerts.standing:
        _was_low(turn)
    return inf


def _look_at_leak(turn: Turn) -> float:
    """What halves the runs ends when nobody has read the level for long: the suspicion stays, the plan goes on."""
    state, leak = turn.state, _leak(turn)
    if leak is None or state.water.sump is None or leak.sign is not LeakSign.AFTER_RUN:
        return inf
    has_gauge = any(
        one.adviser.kind is AdviserKind.LEVEL and not one.adviser.is_coarse for one in state.advice.advisers
    )
    until_s = max(leak.since_s, state.water.sump.at_s) + (GAUGE_DEAD_S if has_gauge else LEAK_STANDS_S)
    if turn.now_s >= until_s:
        _suspect(turn, LeakSign.UNSEEN)
        return inf
    return until_s


def _leak(turn: Turn) -> Leak | None:
    return None if turn.state.water.sump is None else turn.state.water.sump.leak


def _suspect(turn: Turn, sign: LeakSign | None) -> None:
    """None: nothing speaks for a leak any more."""
    sump, known = turn.state.water.sump, _leak(turn)
    if sump is not None and sign is not (None if known is None else known.sign):
        leak = None if sign is None else Leak(sign, turn.now_s)
        turn.put(replace(turn.state.water, sump=replace(sump, leak=leak)))


def _foresee(turn: Turn, book: SumpBook, sump: SumpState) -> Forecast:
    """When a run would be cut, and when time alone may change what is told of that."""
    state = turn.state
    is_used_up = _now(turn, book, sump).added_l >= book.figures.sump_full_l
    if Trip.LOW_SUMP in state.barriers.trips:
        return replace(state.water.forecast, look_at_s=turn.now_s + LOOK_EVERY_S, is_used_up=is_used_up)
    low = outlook_at(book, sump, turn.zone, turn.at).needs_water_at
    ahead_s = inf if low is None else (low - turn.local).total_seconds()
    notice_s = state.water.forecast.notice_s if ahead_s <= DUE_S else _notice(turn, book).total_seconds()
    left_s = ahead_s - (notice_s if ahead_s > notice_s else DUE_S)
    look_at_s = turn.now_s + min(SELDOM_S, max(LOOK_EVERY_S, left_s))
    return Forecast(look_at_s, turn.now_s + ahead_s, notice_s, is_used_up)


def _notice(turn: Turn, book: SumpBook) -> timedelta:
    """How long before it is told; where a full sump lasts few days, the last third of them."""
    low = outlook(book, full(book), turn.local).needs_water_at
    return SOON if low is None else min(SOON, (low - turn.local) / 3)


def _least_l(figures: Figures) -> float:
    """A difference smaller than this shows nothing."""
    return LEAST_LOSS_SHARE * figures.sump_full_l


def _rose(turn: Turn, book: SumpBook, known: SumpState, litres: float) -> None:
    rise_l = litres - _now(turn, book, known).litres
    turn.deed(Act.REFILL, f"amount unknown; the level rose by {rise_l:.0f} L")
    _weigh(turn, litres)
    _suspect(turn, None)


def _after_run(turn: Turn, book: SumpBook, known: SumpState, litres: float) -> None:
    """What did not come back, less what the pots can have kept of the run and the plants have drunk."""
    run_l = turn.state.account.last_run_s / 60 * book.figures.pump_l_per_min
    kept_l = max(KEPT_SHARE * run_l, min(run_l, _thirst_l(turn, book)))
    missing_l = _missing_l(turn, book, known, known.entry.litres, known.at_s, litres)
    if kept_l > KEPT_SHARE * run_l:
        _weigh(turn, litres)  # what dry pots took is no slow loss either
    if missing_l > kept_l:
        _suspect(turn, LeakSign.AFTER_RUN)
    elif (leak := _leak(turn)) is not None and leak.sign is LeakSign.AFTER_RUN:
        _suspect(turn, None)


def _thirst_l(turn: Turn, book: SumpBook) -> float:
    """What the pots lacked before the last run: dry ones keep all of it, and that is no leak."""
    state = turn.state
    before_s = (
        state.account.full_before_s
        if state.account.last_full_s == state.account.last_stop_s
        else state.account.last_full_s
    )
    if before_s == -inf:
        return inf
    gone_l = lost_l(book, local(turn.zone, turn.at, before_s), local(turn.zone, turn.at, state.account.last_stop_s))
    return (1 + DRINK_DOUBT) * gone_l


def _slowly(turn: Turn, book: SumpBook, known: SumpState, litres: float) -> None:
    assert known.weighed_l is not None
    _weigh(turn, litres)
    if not _missing_l(turn, book, known, known.weighed_l, known.weighed_s, litres) > 0:
        _suspect(turn, None)
    elif (leak := _leak(turn)) is None or leak.sign is LeakSign.UNSEEN:
        _suspect(turn, LeakSign.SLOW)


def _missing_l(
    turn: Turn, book: SumpBook, known: SumpState, before_l: float, before_s: float, litres: float
) -> float:
    """Beyond what the plants can have drunk since a level; at or below 0 nothing is."""
    before = replace(known, entry=replace(known.entry, litres=before_l), at_s=before_s)
    gone_l = before_l - _now(turn, book, before).litres
    return before_l - litres - (1 + DRINK_DOUBT) * gone_l - _least_l(book.figures)


def _now(turn: Turn, book: SumpBook, sump: SumpState) -> Entry:
    return entry_at(book, sump, turn.zone, turn.at)


def _set_level(turn: Turn, book: SumpBook, litres: float, is_weighed: bool) -> None:
    """The level is known to be this now; the salts are as they were reckoned."""
    sump = turn.state.water.sump
    if sump is None:
        return
    new = replace(sump, entry=replace(_now(turn, book, sump), litres=litres), at_s=turn.now_s)
    _enter(turn, replace(new, weighed_l=litres, weighed_s=turn.now_s) if is_weighed else new, is_read=True)


def _weigh(turn: Turn, litres: float) -> None:
    assert turn.state.water.sump is not None
    _enter(turn, replace(turn.state.water.sump, weighed_l=litres, weighed_s=turn.now_s), is_read=True)


def _enter(turn: Turn, sump: SumpState, is_read: bool = False) -> None:
    """A new entry, here and in the records: whoever reads those reckons on from the same."""
    turn.put(replace(turn.state.water, sump=sump))
    turn.write(
        SumpNoted(
            turn.at,
            sump.entry,
            sump.weighed_l,
            turn.now_s - sump.weighed_s,
            turn.now_s - sump.renewed_s,
            sump.first_ec,
            sump.last_ec,
            is_read,
        )
    )
