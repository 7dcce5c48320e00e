"""A judge of the guard that knows only what happened: relay, inputs, power, time, and what crossed the wire.

It imports nothing of the guard and is written from the safety table alone. Times are the world's, in seconds. It
judges continuously: every rule that time can break has an instant at which it breaks, and the relay may not be on
then. A guard that stands still can do nothing; once it goes on again it must do at once what was due meanwhile.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import inf

from waaler.rehearsal.against import OWN_PURSE, against, used_s
from waaler.rehearsal.inputs import Seen
from waaler.rehearsal.rules import DAY_S, PLAN_PURSES, Asked, Held, Ran, Rules, Violation
from waaler.rehearsal.stray import FLOWS_S, LIVE_S, Stray

__all__ = ["Monitor"]

LATE_S = 0.2
"""A relay may be this much late. Source: S1."""

LOCKS_AFTER_S = 2.0
"""A run that a guard on its feet finds this long past its deadline is an overrun, and locks. Source: S1, S7."""

SLACK_S = 0.1
"""From what acts to the relay. Source: S4."""

HAIR_S = 0.05
"""Nearer than this to an instant either answer is right."""

FAIR_S = 0.5
"""A refusal may rest on a cause that ended this long ago."""

WAITS_S = 3.0
"""No write keeps a run waiting for longer than two seconds. Source: S10."""

STAGE_S, SELF_TEST_S = 3.0, 6.0
OVERRUN, FLOW_WHILE_OFF = "overrun", "flow while off"
CUTTING = frozenset({"service", "pause"})


@dataclass
class Monitor:
    """violations: what must never hold and did. spans: of the relay, the newest last. wire_s: how late the wire
    may be.
    """

    rules: Rules
    violations: list[Violation] = field(default_factory=list)
    spans: list[Ran] = field(default_factory=list)
    wire_s: float = 0.0
    run: Ran | None = None
    locks: dict[str, float] = field(default_factory=dict)
    holds: dict[str, Held] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.inputs = {name: Seen(need_s=self.rules.start_delay_s) for name in self.rules.settle_s}
        self._asks: dict[int, Asked] = {}
        self._grant: tuple[float, int, float] | None = None
        self.highest = 0
        self.booted_s = self.stopped_s = self._cause_s = self._boot_off_s = -inf
        self.last_off_s: float | None = None
        self._is_powered = True
        self._stalled_s: float | None = None
        self._free_s = self.doubt_until_s = self._limits_s = -inf
        self.fuzz_s = 0.0
        self._overran_s = inf
        self._acted_s = -inf
        self._stray = Stray()
        self._perhaps_locked: set[str] = set()

    # --- what happens ------------------------------------------------------------------------

    def time(self, at_s: float) -> None:
        """So late is it now, and nothing else."""
        self._look(at_s)

    def level(self, at_s: float, name: str, level: str) -> None:
        """The guard read this."""
        self._look(at_s)
        if name in self.inputs:
            self.inputs[name].show(at_s, level, self.rules.confirm_s)

    def relay(self, at_s: float, is_on: bool, test_s: float = 0.0) -> None:
        """The relay, or either of two. test_s: of a self-test that comes first, inside the run."""
        self._look(at_s)
        is_new = is_on and self.run is None
        if is_new:
            self._starts(at_s, test_s)
        elif not is_on and self.run is not None:
            self._ends(at_s, self.run)
        self._stray.relay(at_s, is_on, is_new)

    def supply(self, at_s: float, is_live: bool) -> None:
        """What the guard reads behind the last contact."""
        self._look(at_s)
        self._stray.supply(at_s, is_live, self.run is not None)

    def line(self, at_s: float, is_on: bool) -> None:
        """What the guard reads of the relay's own line."""
        self._look(at_s)
        self._stray.line(at_s, is_on, self.run is not None)

    def flow(self, at_s: float, l_per_min: float) -> None:
        """What the guard reads of the meter."""
        self._look(at_s)
        drained_s = (
            max(self.booted_s, -inf if self.last_off_s is None else self.last_off_s) + self.rules.line_drain_s
        )
        is_drained = self.run is None and at_s >= drained_s
        self._stray.flow(at_s, l_per_min, self.rules.normal_l_per_min, is_drained)

    def power(
        self, at_s: float, is_on: bool, memory: str = "whole", fuzz_s: float = 0.0, uncounted_s: float = 0.0
    ) -> None:
        """memory: what a boot knows of the time before: "whole", "unsure" (all, but of uncounted_s nobody knows
        that they went by), "doubtful" (all, by the records alone), "parts", or "nothing": then every input counts
        as one that had acted. fuzz_s: how wrong the clock may be about the time without power.
        """
        self._look(at_s)
        self._is_powered = is_on
        self._stalled_s = None
        if not is_on:
            for seen in self.inputs.values():
                seen.level = seen.good_since_s = None
            self._boot_off_s = at_s
            if self.run is not None:
                self._over(at_s, self.run, counted_s=self.run.until_s)
            return
        if memory == "unsure":
            self._keep_holds(uncounted_s)
        self._boots(at_s, memory, fuzz_s)

    def stall(self, at_s: float, is_stalled: bool) -> None:
        """The guard stands still, or goes on."""
        self._look(at_s)
        if is_stalled:
            self._stalled_s = at_s
            return
        since_s, self._stalled_s, self._free_s = self._stalled_s, None, at_s
        if since_s is not None and at_s - since_s >= self.rules.stale_s:
            self._cause_s = at_s
            for name, seen in self.inputs.items():
                seen.was_not_read(self.rules.settle_s[name])

    # --- what is said ------------------------------------------------------------------------

    def asked(self, at_s: float, asked: Asked) -> None:
        self._look(at_s)
        both_ways_s = 2 * self.wire_s  # what it was decided on came by the same wire
        if asked.run_id not in self._asks and at_s > max(asked.intended_s, self._free_s) + WAITS_S + both_ways_s:
            self._wrong(at_s, f"S10: asked {at_s - asked.intended_s:.0f} s after it was decided on")
        self._asks[asked.run_id] = asked

    def granted(self, at_s: float, run_id: int, until_s: float) -> None:
        self._look(at_s)
        ask = self._asks.get(run_id)
        if self.run is not None and self.run.run_id == run_id:
            if until_s > self.run.until_s + 1e-6:
                self._wrong(at_s, "S2: a deadline moved later")
            return
        if ask is None:
            self._wrong(at_s, "S1: granted what nobody asked for")
            return
        for what in against(self, at_s, ask, until_s - at_s, -HAIR_S):
            self._wrong(at_s, what)
        self._judge_length(at_s, ask, until_s - at_s)
        self._grant, self.highest = (at_s, run_id, until_s), max(self.highest, run_id)

    def refused(self, at_s: float, run_id: int, reason: str) -> None:
        self._look(at_s)
        ask = self._asks.get(run_id)
        if ask is None or at_s < self.doubt_until_s:
            return
        seconds = min(ask.seconds + SELF_TEST_S * self.rules.has_cutoff, self.rules.longest_s)
        if not any(against(self, at_s, ask, seconds, FAIR_S)):
            self._wrong(at_s, f"refused without cause: {reason}")

    def told_to_cut(self, at_s: float) -> None:
        """Somebody cut the run, or set a limit that may."""
        self._look(at_s)
        self._cause_s = at_s

    def stopped(self, at_s: float) -> None:
        """A person's stop."""
        self.told_to_cut(at_s)
        self.stopped_s = at_s

    def held(self, at_s: float, kind: str, until_s: float, most_s: float) -> None:
        """A hold was answered."""
        self.told_to_cut(at_s)
        before = self.holds.get(kind)
        if before is not None and until_s < before.until_s - HAIR_S - self.fuzz_s:
            self._wrong(at_s, f"S14: a {kind} was shortened")
        since_s = at_s if before is None else before.since_s
        self.holds[kind] = Held(kind, since_s, until_s, most_s)

    def resumed(self, at_s: float) -> None:
        """A person ended every hold."""
        self.told_to_cut(at_s)
        self.holds.clear()

    def hold_over(self, at_s: float, kind: str) -> None:
        """The guard says that a hold is over."""
        self._look(at_s)
        hold = self.holds.pop(kind, None)
        if hold is not None and hold.until_s - self.fuzz_s > at_s + HAIR_S:
            self._wrong(at_s, f"S14: a {kind} ended {hold.until_s - at_s:.0f} s early")

    def locked(self, at_s: float, trip: str) -> None:
        self._look(at_s)
        self.locks.setdefault(trip, at_s)
        self._perhaps_locked.discard(trip)
        if trip == OVERRUN:
            self._overran_s = inf

    def cleared(self, at_s: float) -> None:
        """A person asks for every lock to be lifted whose cause is gone."""
        self._look(at_s)
        is_on = self._stray.is_line_on or (self._stray.is_live and self.rules.has_read_back)
        causes = {OVERRUN: is_on, FLOW_WHILE_OFF: self._stray.flow_since_s < inf}
        for trip in tuple(self.locks):
            if not causes.get(trip, False):
                del self.locks[trip]
        self._perhaps_locked = {trip for trip in self._perhaps_locked if causes.get(trip, False)}

    def stays(self, at_s: float, trip: str) -> None:
        """The guard says that a lock stays, since its cause is still there."""
        self._look(at_s)
        is_gone = not self._stray.l_per_min if trip == FLOW_WHILE_OFF else not self._stray.is_any_on
        if is_gone:
            self._wrong(at_s, f"S7: the lock by {trip} stays though its cause is gone")
        self.locks.setdefault(trip, at_s)

    def lifted(self, at_s: float, trip: str) -> None:
        self._look(at_s)
        if trip in self.locks:
            self._wrong(at_s, f"S7: the lock by {trip} was lifted with its cause there, or by nobody")

    def limits(self, at_s: float, rules: Rules) -> None:
        """Stricter ones hold at once, looser ones from the next run."""
        self.told_to_cut(at_s)
        self.rules, self._limits_s = rules, at_s
        for name, seen in self.inputs.items():
            if seen.need_s is not None and seen.need_s > rules.start_delay_s:
                seen.need_s = max(seen.need_s, rules.settle_s[name])
        if self.run is not None:
            self.run.until_s = min(self.run.until_s, max(at_s, self.run.on_s + rules.longest_s))

    # --- judging -----------------------------------------------------------------------------

    def _look(self, at_s: float) -> None:
        """Finds what broke since the last look, before anything new is known."""
        rules = self.rules
        for name, seen in self.inputs.items():
            acts_s = seen.acts_s(rules.confirm_s)
            if acts_s is not None and acts_s <= at_s + HAIR_S:
                self._acted_s = at_s
            seen.look(at_s, rules.confirm_s, rules.settle_s[name])
        for hold in tuple(self.holds.values()):
            if self._is_powered and at_s > hold.until_s + FAIR_S and at_s >= self.doubt_until_s:
                del self.holds[hold.kind]
        if self._grant is not None and at_s > self._grant[0]:
            self._wrong(self._grant[0], "granted, and the relay stayed off")
            self._grant = None
        if not self._is_powered or self._stalled_s is not None:
            return
        self._look_at_locks(at_s)
        if self.run is not None:
            self._look_at_run(at_s, self.run)

    def _look_at_locks(self, at_s: float) -> None:
        is_off = self.run is None
        on_s = LIVE_S + self._stray.on_since_s(self.rules.has_read_back) if is_off else inf
        flows_s = FLOWS_S + self._stray.flow_since_s if is_off else inf
        for trip, due_s in ((OVERRUN, min(on_s, self._overran_s)), (FLOW_WHILE_OFF, flows_s)):
            if trip not in {*self.locks, *self._perhaps_locked} and self._has_passed(due_s, at_s):
                self._wrong(due_s, f"S7: no lock by {trip}")
                self.locks[trip] = due_s

    def _has_passed(self, due_s: float, at_s: float) -> bool:
        """Whether a guard on its feet should have done what was due."""
        return at_s > max(due_s, self._free_s) + SLACK_S + 1e-6

    def _look_at_run(self, at_s: float, run: Ran) -> None:
        for due_s, what in self._dues(run):
            if what not in run.wrong and self._has_passed(due_s, at_s):
                run.wrong.add(what)
                self._wrong(due_s, f"{what}, and the pump goes on")
        so_far_s = used_s(self, at_s, PLAN_PURSES)
        is_over = run.purse in PLAN_PURSES and so_far_s > self.rules.most_s + LATE_S
        if is_over and max(self._free_s, self._limits_s) < at_s - SLACK_S:
            if "S3" not in run.wrong:
                self._wrong(at_s, f"S3: {so_far_s:.0f} s in 24 h, and the pump goes on")
            run.wrong.add("S3")

    def _dues(self, run: Ran) -> Iterator[tuple[float, str]]:
        """What time makes wrong while the relay is on: when, and what."""
        rules = self.rules
        yield run.until_s + LATE_S - SLACK_S, "S1/S2: its deadline is over"
        for name, seen in self.inputs.items():
            acts_s = seen.acts_s(rules.confirm_s)
            if acts_s is not None:
                yield max(acts_s, run.on_s), f"S4/S5: {name} is {seen.level}"
        for kind in CUTTING & self.holds.keys():
            hold = self.holds[kind]
            if run.on_s < hold.until_s - self.fuzz_s:
                yield hold.since_s, f"S14: a {kind} stands"
        for trip, since_s in self.locks.items():
            yield max(since_s, run.on_s), f"S7: locked by {trip}"
        if run.test_s > 0 and self._stray.tested_live_s < run.waters_s:
            stage_s = STAGE_S if self._stray.tested_live_s < run.on_s + STAGE_S else SELF_TEST_S
            yield run.on_s + stage_s, "S7: the supply is live with one contact open"
        if rules.normal_l_per_min is not None and self._stray.still_since_s < inf:
            yield max(run.waters_s + rules.flow_within_s, self._stray.still_since_s), "nothing flows"

    def _starts(self, at_s: float, test_s: float) -> None:
        grant, self._grant = self._grant, None
        if grant is None or grant[0] != at_s:
            self._wrong(at_s, "S1: energised without a grant")
            grant = (at_s, 0, at_s)
        _, run_id, until_s = grant
        ask = self._asks.get(run_id)
        self.run = Ran(run_id, ask.purse if ask else "plan", at_s, until_s, at_s + test_s, test_s=test_s)

    def _ends(self, at_s: float, run: Ran) -> None:
        if at_s < run.until_s - HAIR_S and not self._may_cut(at_s, run):
            self._wrong(at_s, f"cut without cause, {run.until_s - at_s:.1f} s early")
        self._over(at_s, run, counted_s=at_s)
        if at_s > run.until_s + LOCKS_AFTER_S + HAIR_S:
            self._overran_s = at_s

    def _may_cut(self, at_s: float, run: Ran) -> bool:
        rules = self.rules
        if self._cause_s == at_s or self.locks:
            return True
        if at_s <= self._acted_s + HAIR_S:
            return True
        if at_s <= run.waters_s + HAIR_S and run.test_s > 0:
            return self._stray.is_live or bool(self._stray.l_per_min)
        is_dry = rules.normal_l_per_min is not None and not self._stray.l_per_min
        return is_dry and at_s >= run.waters_s + rules.flow_within_s - HAIR_S

    def _over(self, at_s: float, run: Ran, counted_s: float) -> None:
        run.off_s, run.counted_s = at_s, max(at_s, counted_s)
        self.spans.append(run)
        self.run, self.last_off_s = None, at_s

    def _boots(self, at_s: float, memory: str, fuzz_s: float) -> None:
        """Every input must prove itself anew; one that had acted owes its settle time still."""
        rules = self.rules
        for name, seen in self.inputs.items():
            had_acted = seen.need_s is not None and seen.need_s == rules.settle_s[name]
            had_acted = memory == "nothing" or (had_acted and memory != "parts")
            need_s = rules.settle_s[name] if had_acted else rules.start_delay_s
            self.inputs[name] = Seen(since_s=at_s, need_s=max(need_s, rules.start_delay_s))
        self.booted_s, self.fuzz_s, self._grant = at_s, self.fuzz_s + fuzz_s, None
        self._stray, self._overran_s = Stray(), inf
        self._asks.clear()
        if memory != "whole" or fuzz_s > 0:
            self.doubt_until_s = at_s + DAY_S + (at_s - self._boot_off_s)
        if memory in ("parts", "nothing"):
            # a guard that still knows of a lock does not say so again
            self._perhaps_locked = {*self.locks, *self._perhaps_locked} if memory == "parts" else set()
            self._forget()

    def _keep_holds(self, uncounted_s: float) -> None:
        """A service seems to have lasted less long than it did; so does a permit, whose cap stays."""
        self.holds = {k: replace(hold, until_s=hold.until_s + uncounted_s) for k, hold in self.holds.items()}

    def _forget(self) -> None:
        self.locks.clear()
        self.holds.clear()
        self.spans = [replace(span, purse="forgotten") for span in self.spans]
        self.highest = 0

    def _judge_length(self, at_s: float, ask: Asked, seconds: float) -> None:
        can_test = self.rules.has_cutoff and (self.rules.has_read_back or self.rules.normal_l_per_min is not None)
        hold = next((hold for hold in self.holds.values() if OWN_PURSE.get(hold.kind) == ask.purse), None)
        held_s = inf if hold is None else hold.until_s - at_s
        most_s = min(ask.seconds + SELF_TEST_S * can_test, self.rules.longest_s, held_s + self.fuzz_s)
        least_s = min(ask.seconds, self.rules.longest_s, held_s - self.fuzz_s)
        if seconds > most_s + HAIR_S:
            self._wrong(at_s, f"S2: granted {seconds:.1f} s of {ask.seconds:.1f} asked")
        if seconds < least_s - HAIR_S and at_s >= self.doubt_until_s:
            self._wrong(at_s, f"granted only {seconds:.1f} s of {ask.seconds:.1f} asked")

    def _wrong(self, at_s: float, what: str) -> None:
        self.violations.append(Violation(at_s, what))
