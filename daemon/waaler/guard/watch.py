"""One protective input: when does it act, and when is it trusted again.

It is lopsided on purpose. A bad level acts once it has stood for `confirm`, and a chatter counts as bad; an
input that cannot be read acts at once. Trust returns only after an unbroken good time.

Instants are compared with sums (`now_s >= since_s + confirm_s`), the same sums that say when to wake: so that no
rounding lets the guard be woken a moment before it finds anything.
"""

from dataclasses import dataclass, replace
from math import inf

from waaler.guard.messages import Level, Trip

__all__ = ["Watch", "allows", "free_at_s", "look", "next_look_s", "read", "shows"]


@dataclass(frozen=True, slots=True)
class Watch:
    """meaning: the trip that a bad level is. level None: not yet read.

    read_until_s: up to when the last reading stands. bad_since_s: the first bad reading not yet outlived by
    `confirm_s` of good ones. good_since_s: start of the unbroken good time. hold_s: the good time needed before
    this input allows a start, None once it had it. trip: set while the input has acted and is not yet trusted.
    """

    meaning: Trip
    confirm_s: float
    stale_after_s: float
    settle_s: float
    hold_s: float | None
    read_until_s: float
    level: Level | None = None
    bad_since_s: float | None = None
    good_since_s: float | None = None
    trip: Trip | None = None


def read(watch: Watch, level: Level, now_s: float, until_s: float) -> Watch:
    """The watch after a reading that stands from now_s to until_s; `look` at it next."""
    is_unbroken = watch.level is Level.GOOD and now_s < watch.read_until_s + watch.stale_after_s
    good_since_s = watch.good_since_s if is_unbroken else now_s
    bad_since_s = watch.bad_since_s
    if level is Level.BAD and bad_since_s is None:
        bad_since_s = now_s
    return replace(
        watch,
        level=level,
        read_until_s=max(now_s, until_s),
        good_since_s=good_since_s if level is Level.GOOD else None,
        bad_since_s=bad_since_s,
    )


def look(watch: Watch, now_s: float) -> Watch:
    """The watch after the passing of time: it may act, or be trusted again."""
    if _cannot_be_read(watch, now_s):
        return _acted(watch, watch.trip or Trip.NOT_READ)
    if _is_confirmed_bad(watch, now_s):
        return _acted(watch, watch.meaning)
    good_since_s = _good_since_s(watch)
    if watch.bad_since_s is not None and now_s >= good_since_s + watch.confirm_s:
        watch = replace(watch, bad_since_s=None)
    if watch.hold_s is not None and now_s >= good_since_s + watch.hold_s:
        watch = replace(watch, hold_s=None, trip=None)
    return watch


def allows(watch: Watch, now_s: float) -> bool:
    """Whether this input lets a run start now: trusted, freshly good, and no doubt since."""
    is_good = watch.level is Level.GOOD and now_s < watch.read_until_s + watch.stale_after_s
    return is_good and watch.hold_s is None and watch.trip is None and watch.bad_since_s is None


def shows(watch: Watch, now_s: float) -> Level | None:
    """The level that it has shown for `confirm`; None in doubt, and where it cannot be read."""
    if _is_confirmed_bad(watch, now_s):
        return Level.BAD
    is_fresh = watch.level is Level.GOOD and now_s < watch.read_until_s + watch.stale_after_s
    return Level.GOOD if is_fresh and now_s >= _good_since_s(watch) + watch.confirm_s else None


def next_look_s(watch: Watch) -> float:
    """The next instant at which `look` may find something without a new reading."""
    due = [inf]
    if watch.trip is None or watch.good_since_s is not None:
        due.append(watch.read_until_s + watch.stale_after_s)
    if watch.level is Level.BAD and watch.trip is not watch.meaning and _is_read_again(watch):
        due.append(_bad_since_s(watch) + watch.confirm_s)
    if watch.level is Level.GOOD and watch.bad_since_s is not None:
        due.append(_good_since_s(watch) + watch.confirm_s)
    if watch.level is Level.GOOD and watch.hold_s is not None:
        due.append(_good_since_s(watch) + watch.hold_s)
    return min(due)


def free_at_s(watch: Watch) -> float | None:
    """When this input will allow a start if it stays good; None if it is not good now."""
    if watch.good_since_s is None:
        return None
    return watch.good_since_s + max(watch.hold_s or 0.0, watch.confirm_s)


def _cannot_be_read(watch: Watch, now_s: float) -> bool:
    is_fresh = now_s < watch.read_until_s + watch.stale_after_s
    return watch.level is Level.NOT_READ or not is_fresh


def _is_confirmed_bad(watch: Watch, now_s: float) -> bool:
    """Bad for `confirm`, by two readings at least. A single bad reading proves nothing."""
    return watch.level is Level.BAD and now_s >= _bad_since_s(watch) + watch.confirm_s and _is_read_again(watch)


def _is_read_again(watch: Watch) -> bool:
    return watch.read_until_s > _bad_since_s(watch)


def _acted(watch: Watch, trip: Trip) -> Watch:
    if watch.trip is trip and watch.good_since_s is None:
        return watch
    return replace(watch, trip=trip, hold_s=watch.settle_s, good_since_s=None)


def _bad_since_s(watch: Watch) -> float:
    return inf if watch.bad_since_s is None else watch.bad_since_s


def _good_since_s(watch: Watch) -> float:
    return inf if watch.good_since_s is None else watch.good_since_s
