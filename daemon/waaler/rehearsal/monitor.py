"""A judge of the guard that knows only what happened: relay, inputs, power and time.

It imports nothing of the guard and is written from the safety table alone. Times are the world's, in seconds.
"""

from dataclasses import dataclass, field

__all__ = ["Heard", "Monitor", "Rules", "Violation"]

DAY_S = 86_400.0
LATE_S = 0.2
"""A relay may be this much late. Source: S1."""

LIVE_S = 0.2
"""A supply that is live this long with the relay off is an overrun, and locks. Source: S1, S7."""

SLACK_S = 0.1
"""From an input's `confirm` to the relay. Source: S4."""


@dataclass(frozen=True, slots=True)
class Rules:
    """The limits in force. has_read_back: whether the guard can see the supply."""

    longest_s: float
    most_s: float
    rest_s: float
    settle_s: dict[str, float]
    start_delay_s: float
    confirm_s: float
    has_read_back: bool = False


@dataclass(frozen=True, slots=True)
class Violation:
    at_s: float
    what: str


@dataclass(slots=True)
class _Seen:
    """level None: not read since the boot. need_s: the good time it owes before a start, None if none."""

    level: str | None = None
    since_s: float = 0.0
    good_since_s: float | None = None
    bad_since_s: float | None = None
    need_s: float | None = None

    def show(self, at_s: float, level: str, confirm_s: float) -> None:
        if self.level == "good" and at_s - self.since_s >= confirm_s:
            self.bad_since_s = None
        self.level, self.since_s = level, at_s
        if level == "good":
            self.good_since_s = at_s
        else:
            self.good_since_s = None
            if level == "bad" and self.bad_since_s is None:
                self.bad_since_s = at_s

    def acted_at_s(self, confirm_s: float) -> float | None:
        """When what it shows now must act; None if it need not."""
        if self.level == "not read":
            return self.since_s
        if self.level == "bad" and self.bad_since_s is not None:
            return max(self.bad_since_s + confirm_s, self.since_s)
        return None

    def look(self, at_s: float, confirm_s: float, settle_s: float) -> None:
        acts_s = self.acted_at_s(confirm_s)
        if acts_s is not None and at_s > acts_s:
            self.need_s = settle_s
        elif self.need_s is not None and self.good_since_s is not None and at_s - self.good_since_s >= self.need_s:
            self.need_s = None


@dataclass
class Monitor:
    """A `Trace` of the rehearsal. violations: what must never hold and did."""

    rules: Rules
    violations: list[Violation] = field(default_factory=list)
    spans: list[tuple[float, float]] = field(default_factory=list)
    on_since_s: float | None = None
    last_off_s: float | None = None
    live_since_s: float | None = None
    is_locked: bool = False

    def __post_init__(self) -> None:
        self._inputs = {name: _Seen(need_s=self.rules.start_delay_s) for name in self.rules.settle_s}

    def level(self, at_s: float, name: str, level: str) -> None:
        self._look(at_s)
        if name in self._inputs:
            self._inputs[name].show(at_s, level, self.rules.confirm_s)

    def relay(self, at_s: float, is_on: bool) -> None:
        self._look(at_s)
        if is_on:
            self._judge_start(at_s)
            self.on_since_s = at_s
        elif self.on_since_s is not None:
            self._judge_end(at_s, self.on_since_s)
            self.spans.append((self.on_since_s, at_s))
            self.on_since_s, self.last_off_s, self.live_since_s = None, at_s, None

    def supply(self, at_s: float, is_live: bool) -> None:
        """The supply behind the last contact; nobody in a rehearsal ever lifts a lock."""
        self._look(at_s)
        self.live_since_s = at_s if is_live and self.on_since_s is None else None

    def power(self, at_s: float, is_on: bool) -> None:
        """At a boot every input must prove itself anew; one that had acted owes its settle time still."""
        self._look(at_s)
        self.live_since_s = None
        if not is_on:
            return
        for name, seen in self._inputs.items():
            had_acted = seen.need_s is not None and seen.need_s == self.rules.settle_s[name]
            need_s = self.rules.settle_s[name] if had_acted else self.rules.start_delay_s
            self._inputs[name] = _Seen(since_s=at_s, need_s=need_s)

    def _look(self, at_s: float) -> None:
        for name, seen in self._inputs.items():
            seen.look(at_s, self.rules.confirm_s, self.rules.settle_s[name])
        is_stuck = self.live_since_s is not None and at_s - self.live_since_s > LIVE_S
        if is_stuck and self.on_since_s is None and self.rules.has_read_back:
            self.is_locked = True

    def _judge_start(self, at_s: float) -> None:
        rules = self.rules
        if self.is_locked:
            self._wrong(at_s, "S7: started though an overrun had locked it")
        if self.last_off_s is not None and at_s - self.last_off_s < rules.rest_s - 1e-6:
            self._wrong(at_s, f"S6: started {at_s - self.last_off_s:.1f} s after the last stop")
        for name, seen in self._inputs.items():
            if seen.level != "good":
                self._wrong(at_s, f"S4/S5: started with {name} {seen.level}")
            good_s = -1.0 if seen.good_since_s is None else at_s - seen.good_since_s
            if seen.need_s is not None and good_s < seen.need_s - 1e-6:
                self._wrong(at_s, f"S4/S5: started with {name} good for {good_s:.1f} s of {seen.need_s:.0f}")

    def _judge_end(self, at_s: float, on_since_s: float) -> None:
        rules = self.rules
        if at_s - on_since_s > rules.longest_s + LATE_S:
            self._wrong(at_s, f"S1/S2: on for {at_s - on_since_s:.1f} s")
        used_s = sum(max(0.0, end - max(start, at_s - DAY_S)) for start, end in [*self.spans, (on_since_s, at_s)])
        if used_s > rules.most_s + LATE_S:
            self._wrong(at_s, f"S3: {used_s:.0f} s in 24 h")
        for name, seen in self._inputs.items():
            acts_s = seen.acted_at_s(rules.confirm_s)
            if acts_s is not None and at_s - max(acts_s, on_since_s) > SLACK_S:
                self._wrong(at_s, f"S4/S5: on for {at_s - acts_s:.2f} s with {name} {seen.level}")

    def _wrong(self, at_s: float, what: str) -> None:
        self.violations.append(Violation(at_s, what))


@dataclass
class Heard:
    """Writes down what a judge hears, one line an event."""

    judge: Monitor
    lines: list[tuple[float, str]] = field(default_factory=list)

    def relay(self, at_s: float, is_on: bool) -> None:
        self._hear(at_s, f"relay {'on' if is_on else 'off'}")
        self.judge.relay(at_s, is_on)

    def level(self, at_s: float, name: str, level: str) -> None:
        self._hear(at_s, f"{name} {level}")
        self.judge.level(at_s, name, level)

    def power(self, at_s: float, is_on: bool) -> None:
        self._hear(at_s, f"power {'back' if is_on else 'fails'}")
        self.judge.power(at_s, is_on)

    def supply(self, at_s: float, is_live: bool) -> None:
        self._hear(at_s, f"supply {'live' if is_live else 'dead'}")
        self.judge.supply(at_s, is_live)

    def _hear(self, at_s: float, what: str) -> None:
        self.lines.append((at_s, f"{at_s:12.3f} s  {what}"))
