"""A judge of the guard that knows only what happened: relay, inputs, time. It imports nothing of the guard.

Ages are whole seconds, saturated where more makes no difference, so that its states can be counted.
"""

from dataclasses import dataclass, replace

__all__ = ["BAD", "GOOD", "LOST", "UNREAD", "Judge", "Rules"]

GOOD, BAD, UNREAD, LOST = "good", "bad", "not read", "lost"
"""What an input shows: two levels, a read that fails, and no read at all."""


@dataclass(frozen=True, slots=True)
class Rules:
    """The limits of S1 to S7, in whole seconds."""

    longest_s: int = 3
    rest_s: int = 2
    settle_s: int = 2
    start_delay_s: int = 1
    confirm_s: int = 1
    stale_s: int = 2
    most_s: int = 6
    day_s: int = 12


@dataclass(frozen=True, slots=True)
class Seen:
    """One input. shows_s: how long it has shown that. good_s: unbroken good time, None if it is not good.

    need_s: good time needed before a start, None once it had it.
    """

    shows: str = LOST
    shows_s: int = 0
    good_s: int | None = None
    need_s: int | None = 1


@dataclass(frozen=True, slots=True)
class Judge:
    """day: for each of the last `day_s` seconds whether the relay was on in it. state_s: age of the relay's state.

    held_s: what is left of a service.
    """

    sump: Seen = Seen()
    tray: Seen = Seen()
    is_on: bool = False
    state_s: int = 0
    day: tuple[bool, ...] = ()
    is_live: bool = False
    live_s: int = 0
    is_locked: bool = False
    held_s: int = 0

    def inputs(self) -> tuple[tuple[str, Seen], ...]:
        return (("sump", self.sump), ("tray", self.tray))

    def second(self, rules: Rules) -> "Judge":
        """One second passes."""
        return replace(
            self,
            sump=_older(self.sump, rules),
            tray=_older(self.tray, rules),
            state_s=min(self.state_s + 1, max(rules.longest_s, rules.rest_s) + 1),
            day=(*self.day, self.is_on)[-rules.day_s :],
            live_s=min(self.live_s + 1, 1) if self.is_live and not self.is_on else 0,
            is_locked=self.is_locked or (self.is_live and not self.is_on),
            held_s=max(0, self.held_s - 1),
        )

    def resumed(self) -> "Judge":
        return replace(self, held_s=0)

    def shows(self, name: str, what: str) -> "Judge":
        seen: Seen = getattr(self, name)
        if seen.shows == what:
            return self
        good_s = seen.good_s if what in (GOOD, LOST) else None
        if what == GOOD and good_s is None:
            good_s = 0
        changed = replace(seen, shows=what, shows_s=0, good_s=good_s)
        return replace(self, **{name: changed})  # type: ignore[arg-type]

    def restarts(self, rules: Rules) -> "Judge":
        """The process ends and begins again: the relay is off, every input must prove itself."""
        judge = replace(self.relay(False), sump=_again(self.sump, rules), tray=_again(self.tray, rules))
        return judge.acted(rules)

    def clears(self) -> "Judge":
        """A person releases; only with the cause gone."""
        return self if self.is_live else replace(self, is_locked=False)

    def relay(self, is_on: bool) -> "Judge":
        return self if is_on == self.is_on else replace(self, is_on=is_on, state_s=0, live_s=0)

    def acted(self, rules: Rules) -> "Judge":
        """After every event: an input that has been bad long enough owes its whole settle time again."""
        return replace(self, sump=_acted(self.sump, rules), tray=_acted(self.tray, rules))

    def wrongs(self, before: "Judge", rules: Rules) -> list[str]:
        """What must never hold, judged after an event; before: the judge before it."""
        return _wrong_while_on(self, rules) + _wrong_starts(self, before, rules)


def _older(seen: Seen, rules: Rules) -> Seen:
    is_counting = seen.good_s is not None
    return replace(
        seen,
        shows_s=min(seen.shows_s + 1, rules.settle_s + 1),
        good_s=min((seen.good_s or 0) + 1, rules.settle_s + 1) if is_counting else None,
    )


def _acted(seen: Seen, rules: Rules) -> Seen:
    is_out = (
        (seen.shows == BAD and seen.shows_s >= rules.confirm_s)
        or seen.shows == UNREAD
        or (seen.shows == LOST and seen.shows_s >= rules.stale_s)
    )
    if is_out:
        return replace(seen, need_s=rules.settle_s, good_s=None)
    if seen.need_s is not None and seen.good_s is not None and seen.good_s >= seen.need_s:
        return replace(seen, need_s=None)
    return seen


def _again(seen: Seen, rules: Rules) -> Seen:
    """After a restart: an input that had acted still owes its settle time, any other the start delay."""
    had_acted = seen.need_s == rules.settle_s
    return replace(
        seen,
        shows_s=0,
        good_s=0 if seen.shows == GOOD else None,
        need_s=rules.settle_s if had_acted else rules.start_delay_s,
    )


def _wrong_while_on(judge: Judge, rules: Rules) -> list[str]:
    if not judge.is_on:
        return []
    wrongs = []
    if judge.held_s > 0:
        wrongs.append("S14: on during a service")
    if judge.state_s >= rules.longest_s:
        wrongs.append("S1/S2: on for as long as the longest run, and still on")
    if sum(judge.day[-rules.day_s :]) > rules.most_s:
        wrongs.append("S3: on for longer than the most per day")
    for name, seen in judge.inputs():
        if seen.shows == BAD and seen.shows_s >= rules.confirm_s:
            wrongs.append(f"S4/S5: on with {name} bad for confirm")
        if seen.shows == UNREAD:
            wrongs.append(f"S4/S5: on with {name} not read")
        if seen.shows == LOST and seen.shows_s >= rules.stale_s:
            wrongs.append(f"S4/S5: on with {name} lost")
    return wrongs


def _wrong_starts(judge: Judge, before: Judge, rules: Rules) -> list[str]:
    if not judge.is_on or before.is_on:
        return []
    wrongs = []
    if before.state_s < rules.rest_s:
        wrongs.append("S6: started within rest")
    if before.is_locked:
        wrongs.append("S7: started while locked")
    for name, seen in judge.inputs():
        if seen.need_s is not None:
            wrongs.append(f"S4/S5: started though {name} was not good for long enough")
        if seen.shows in (BAD, UNREAD):
            wrongs.append(f"S4/S5: started with {name} {seen.shows}")
    return wrongs
