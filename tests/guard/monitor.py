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
    attended_rest_s: int = 1
    line_drain_s: int = 1
    flow_within_s: int = 2
    flows_s: int = 2
    has_meter: bool = False
    has_cutoff: bool = False


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
    """day: for each of the last `day_s` seconds whose run the relay was on for, "" where it was off. state_s: age of
    the relay's state.

    held_s: what is left of a service; permits: of an attended time and a soak. purse, left_s: of the run, and what is
    left of it. testing, stage_s: the contact that is energised alone, and for how long. flow_s: for how long water
    has moved with the pump off and the line drained, None while it does not. is_strict: which limits stand.
    """

    sump: Seen = Seen()
    tray: Seen = Seen()
    is_on: bool = False
    state_s: int = 0
    day: tuple[str, ...] = ()
    is_live: bool = False
    live_s: int = 0
    is_locked: bool = False
    held_s: int = 0
    permits: tuple[tuple[str, int], ...] = ()
    purse: str = ""
    left_s: int = 0
    testing: str = ""
    stage_s: int = 0
    is_flowing: bool = False
    flow_s: int | None = None
    is_strict: bool = False

    def inputs(self) -> tuple[tuple[str, Seen], ...]:
        return (("sump", self.sump), ("tray", self.tray))

    def second(self, rules: Rules) -> "Judge":
        """One second passes."""
        return replace(
            self,
            sump=_older(self.sump, rules),
            tray=_older(self.tray, rules),
            state_s=min(self.state_s + 1, max(rules.longest_s, rules.rest_s) + 1),
            day=(*self.day, self.purse if self.is_on else "")[-rules.day_s :],
            live_s=min(self.live_s + 1, 1) if self.is_live and not self.is_on else 0,
            is_locked=self.is_locked or (self.is_live and not self.is_watering) or self._locks_by_flow(rules),
            held_s=max(0, self.held_s - 1),
            permits=tuple((purse, left_s - 1) for purse, left_s in self.permits if left_s > 1),
            left_s=max(0, self.left_s - 1),
            stage_s=min(self.stage_s + 1, 1),
            flow_s=None if self.flow_s is None else min(self.flow_s + 1, rules.flows_s),
        )

    @property
    def is_watering(self) -> bool:
        return self.is_on and not self.testing

    def _locks_by_flow(self, rules: Rules) -> bool:
        return self.flow_s is not None and self.flow_s + 1 >= rules.flows_s

    def permitted(self, purse: str, seconds: int) -> "Judge":
        """A person grants time; what is left of the same is never shortened."""
        others = tuple(one for one in self.permits if one[0] != purse)
        seconds = max(seconds, dict(self.permits).get(purse, 0))
        return replace(self, permits=tuple(sorted((*others, (purse, seconds)))))

    def granted(self, purse: str, seconds: int) -> "Judge":
        return self if self.is_on and self.left_s > 0 else replace(self, purse=purse, left_s=seconds)

    def flows(self, is_flowing: bool, rules: Rules) -> "Judge":
        """What the meter is told to show; a line that runs back is left out."""
        is_off = not self.is_on and self.state_s >= rules.line_drain_s
        flow_s = (self.flow_s or 0) if is_flowing and is_off else None
        return replace(self, is_flowing=is_flowing, flow_s=flow_s)

    def limited(self, is_strict: bool, rules: Rules) -> "Judge":
        """Stricter limits hold at once, looser ones from the next run."""
        left_s = min(self.left_s, max(0, limits(rules, is_strict).longest_s - self.state_s))
        return replace(self, is_strict=is_strict, left_s=left_s if self.is_on else 0)

    def resumed(self) -> "Judge":
        return replace(self, held_s=0, permits=())

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
        judge = replace(
            self.relay(False), flow_s=None, sump=_again(self.sump, rules), tray=_again(self.tray, rules)
        )
        return judge.acted(rules)

    def clears(self) -> "Judge":
        """A person releases; only with the cause gone."""
        return self if self.is_live or self.flow_s is not None else replace(self, is_locked=False)

    def relay(self, is_on: bool, testing: str = "") -> "Judge":
        """testing: the contact that is energised without its partner, in a self-test."""
        judge = self if testing == self.testing else replace(self, testing=testing, stage_s=0)
        if is_on == self.is_on:
            return judge
        return replace(judge, is_on=is_on, state_s=0, live_s=0, flow_s=None)

    def acted(self, rules: Rules) -> "Judge":
        """After every event: an input that has been bad long enough owes its whole settle time again."""
        return replace(self, sump=_acted(self.sump, rules), tray=_acted(self.tray, rules))

    def wrongs(self, before: "Judge", rules: Rules) -> list[str]:
        """What must never hold, judged after an event; before: the judge before it."""
        rules = limits(rules, self.is_strict)
        return _wrong_while_on(self, before, rules) + _wrong_starts(self, before, rules)


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


STRICTER_S = {"longest_s": 2, "most_s": 3}
PERMIT_S, PERMIT_MOST_S = 3, 1


def limits(rules: Rules, is_strict: bool) -> Rules:
    return replace(rules, **STRICTER_S) if is_strict else rules  # type: ignore[arg-type]


def _used_s(judge: Judge, rules: Rules, *purses: str) -> int:
    return sum(1 for purse in judge.day[-rules.day_s :] if purse in purses)


def _wrong_while_on(judge: Judge, before: Judge, rules: Rules) -> list[str]:
    if not judge.is_on:
        return []
    wrongs = []
    if judge.left_s <= 0:
        wrongs.append("S1: on past its deadline")
    if before.testing and before.stage_s >= 1 and before.is_live and judge.testing != before.testing:
        wrongs.append("S7: the supply was live with one contact open, and the run goes on")
    if rules.has_meter and judge.is_watering and judge.state_s >= rules.flow_within_s and not judge.is_flowing:
        wrongs.append("on, and nothing flows")
    if judge.held_s > 0:
        wrongs.append("S14: on during a service")
    if judge.state_s >= rules.longest_s:
        wrongs.append("S1/S2: on for as long as the longest run, and still on")
    if judge.purse in ("plan", "spare") and _used_s(judge, rules, "plan", "spare") > rules.most_s:
        wrongs.append("S3: on for longer than the most per day")
    if judge.purse in ("attended", "soak") and _used_s(judge, rules, judge.purse) > PERMIT_MOST_S:
        wrongs.append(f"S3: on for longer than the {judge.purse} time has")
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
    permits = dict(judge.permits)
    if judge.purse in ("attended", "soak") and judge.purse not in permits:
        wrongs.append(f"S3: an {judge.purse} run that nobody granted")
    if judge.purse != "attended" and "attended" in permits:
        wrongs.append("S14: another run in an attended time")
    if judge.purse == "plan" and "soak" in permits:
        wrongs.append("S14: a run of the plan in a soak")
    if before.state_s < (rules.attended_rest_s if judge.purse == "attended" else rules.rest_s):
        wrongs.append("S6: started within rest")
    if before.is_locked:
        wrongs.append("S7: started while locked")
    for name, seen in judge.inputs():
        if seen.need_s is not None:
            wrongs.append(f"S4/S5: started though {name} was not good for long enough")
        if seen.shows in (BAD, UNREAD):
            wrongs.append(f"S4/S5: started with {name} {seen.shows}")
    return wrongs
