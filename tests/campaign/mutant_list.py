"""The mutants: small patches of functions, each a fault that a hand might make."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from typing import Any

import waaler.core.barriers as barriers
import waaler.core.cycles as cycles
import waaler.core.doses as doses
import waaler.core.joined as joined
import waaler.core.runs as runs
import waaler.guard.asking as asking
import waaler.guard.contacts as contacts
import waaler.guard.ending as ending
import waaler.guard.holds as holding
import waaler.guard.journal as journal
import waaler.guard.moving as moving
import waaler.guard.state as state
import waaler.guard.step as stepping
import waaler.guard.watch as watching
import waaler.records.ends as ends
import waaler.records.memory as memory
import waaler.records.past_runs as past_runs
import waaler.records.store as store
import waaler.rehearsal.keeping as keeping
import waaler.rehearsal.notebook as notebook
import waaler.rehearsal.trial as trial
from waaler.core.facts import Outcome, RunIntent, RunResult
from waaler.guard.memory import Memory
from waaler.guard.messages import Ended, Hold, HoldKind, Level, Purse, Relay, Trip

__all__ = ["MUTANTS", "Mutant"]

Patch = Callable[[Any], Any]


@dataclass(frozen=True)
class Mutant:
    """places: (module, name) of what is replaced. by: makes the wrong function of the true one.

    why_not: why no story can notice it.
    """

    where: str
    what: str
    places: tuple[tuple[Any, str], ...]
    by: Patch
    why_not: str = ""


def guard(what: str, module: Any, name: str, by: Patch, why_not: str = "") -> Mutant:
    return Mutant("guard", what, ((module, name),), by, why_not)


def core(what: str, module: Any, name: str, by: Patch, why_not: str = "") -> Mutant:
    return Mutant("core", what, ((module, name),), by, why_not)


def restored(what: str, module: Any, name: str, by: Patch, why_not: str = "") -> Mutant:
    return Mutant("restore", what, ((module, name),), by, why_not)


def nothing(true: Any) -> Any:
    return lambda *args, **kwargs: None


def none_of_them(true: Any) -> Any:
    return lambda *args: iter(())


def asked_with(**changes: Any) -> Patch:
    """Every ask is judged as if it said something else."""
    return lambda true: lambda s, ask: true(s, replace(ask, **changes))


def begun_with(**changes: Any) -> Patch:
    """A start knows something else of the time before."""
    return lambda true: lambda limits, known, now_s: true(limits, replace(known, **changes), now_s)


def known_with(**changes: Any) -> Patch:
    """The journal tells something else."""
    return lambda true: lambda *args: replace(true(*args), **changes)


def begin_places(**changes: Any) -> Any:
    return joined, "begin_guard", begun_with(**changes)


def _all_day(true: Any) -> Any:
    """Allowances that nobody granted."""
    return lambda s, purse: (
        Hold(HoldKind.SERVICE, inf, "nobody", inf) if purse in (Purse.SOAK, Purse.ATTENDED) else None
    )


def _ends(change: Callable[[Any, Any], Any]) -> Patch:
    """end(): what it leaves behind and says is changed."""
    return lambda true: lambda s, *args: change(s, true(s, *args))


def _uncounted(before: Any, after: Any) -> Any:
    return replace(after[0], spans=before.spans), after[1]


def _as_granted(before: Any, after: Any) -> Any:
    """The history hears of the deadline, not of the end."""
    if before.run is None:
        return after
    seconds = before.run.until_s - before.run.started_s
    said = tuple(replace(one, seconds=seconds) if isinstance(one, Ended) else one for one in after[1])
    ran = (*after[0].ran[:-1], replace(after[0].ran[-1], ended=said[1]))
    return replace(after[0], ran=ran), said


def _stays_on(before: Any, after: Any) -> Any:
    return after[0], tuple(one for one in after[1] if not isinstance(one, Relay))


def _replaced(true: Any) -> Any:
    """A new hold takes the place of one of its kind."""
    return lambda s, m: true(replace(s, holds=tuple(h for h in s.holds if h.kind is not m.hold.kind)), m)


def _lengthened(true: Any) -> Any:
    def take(s: Any, limits: Any) -> Any:
        s = true(s, limits)
        return (
            s if s.run is None else replace(s, run=replace(s.run, until_s=s.run.started_s + s.limits.longest_run_s))
        )

    return take


def _again(true: Any) -> Any:
    def look(turn: Any) -> Any:
        turn.put(replace(turn.state.calendar, done=()))
        return true(turn)

    return look


def _just_another_plan(true: Any) -> Any:
    def take_plan(turn: Any, plan: Any) -> None:
        turn.put(replace(turn.setup, plan=plan))
        turn.put(replace(turn.state.calendar, looked_at_s=turn.at.wall_s, quiet=None))

    return take_plan


def _empty_foreign(true: Any) -> Any:
    def read(data: bytes, bed: str) -> Any:
        found = true(data, bed)
        if found.health is journal.Health.FOREIGN:
            return replace(true(data, "another"), memory=Memory())
        return found

    return read


def _sure(true: Any) -> Any:
    """Ages over a power cut are believed though the clock was not sure."""

    def as_known(found: Any, boot: str, now: Any) -> Any:
        return true(replace(found, at=replace(found.at, is_sure=True)), boot, replace(now, is_sure=True))

    return as_known


def _without_write(kind: type) -> Patch:
    """One kind of fact is never written."""
    from waaler.core.turn import Turn

    def by(true: Any) -> Any:
        def wrong(turn: Turn, *args: Any) -> Any:
            n = len(turn.actions)
            found = true(turn, *args)
            turn.actions[n:] = [a for a in turn.actions[n:] if not isinstance(getattr(a, "fact", None), kind)]
            return found

        return wrong

    return by


def _never_written(outcome: Outcome) -> Patch:
    def by(true: Any) -> Any:
        return lambda turn, wanted, what, reason: None if what is outcome else true(turn, wanted, what, reason)

    return by


def _results(**changes: Any) -> Patch:
    return lambda true: lambda *args, **kwargs: [replace(one, **changes) for one in true(*args, **kwargs)]


def _shifted_ages(true: Any) -> Any:
    return lambda known, by_s: known


_IGNORE_STALE = lambda true: lambda w, now: w.level is Level.NOT_READ  # noqa: E731

MUTANTS: tuple[Mutant, ...] = (
    # the seven that a judge once let pass
    guard("every run is as long as the longest", stepping, "granted_until_s", lambda true: lambda s, ask: s.now_s + s.limits.longest_run_s),
    guard("no day's cap", asking, "energised_s", lambda true: lambda s, p: 0.0),
    guard("a float that nobody reads counts as read", watching, "_cannot_be_read", _IGNORE_STALE),
    guard("flow while off never locks", moving, "FLOW_OFF_FOR_S", lambda true: inf),
    core("a cycle may come twice", cycles, "_new_cycles", _again),
    guard("asks never expire", stepping, "blocks", asked_with(valid_until_s=inf)),
    guard("holds are ignored", asking, "forbids", lambda true: lambda hold, purse: False),
    guard("nobody need grant time for soak and attended runs", asking, "allowance", _all_day),
    # runs
    guard("a run is granted a second longer", stepping, "granted_until_s", lambda true: lambda s, ask: true(s, ask) + 1),
    guard("a run gets half its length", stepping, "granted_until_s", lambda true: lambda s, ask: s.now_s + (true(s, ask) - s.now_s) / 2),
    guard("the deadline is looked at a second late", stepping, "_look_at_run",
          lambda true: lambda s: true(s) if s.run is None or s.now_s > s.run.until_s + 1 else (s, ())),
    guard("an overrun after a stall does not lock", stepping, "_end_at_deadline", lambda true: lambda s, run: ending.end(s, run.because)),
    guard("the same run may be granted twice", stepping, "blocks", lambda true: lambda s, ask: true(replace(s, last_run_id=-1), ask),
          "a second ask of a run that ended comes within the rest, and after its validity; tests/guard has it"),
    guard("a person's stop does not reach what was decided before", stepping, "blocks", asked_with(intended_s=inf)),
    guard("no rest between two runs", asking, "_rest_blocks", none_of_them),
    guard("starts are not counted", asking, "starts_last_hour", lambda true: lambda s: ()),
    guard("extra runs draw on what the plan needs", stepping, "blocks", asked_with(reserve_s=0.0)),
    guard("a looser limit lengthens the run in progress", stepping, "_take_limits", _lengthened),
    guard("a stricter limit waits for the next run", stepping, "_take_limits", lambda true: lambda s, lim: replace(true(s, lim), run=s.run)),
    Mutant("guard", "a run that ended is not counted", ((stepping, "end"), (moving, "end"), (holding, "end")), _ends(_uncounted)),
    Mutant("guard", "a run that was cut is told as if it had run its time", ((stepping, "end"), (moving, "end"), (holding, "end")), _ends(_as_granted)),
    Mutant("guard", "a run is over, and the relay stays on", ((stepping, "end"), (moving, "end"), (holding, "end")), _ends(_stays_on)),
    guard("soak and attended runs have no cap", asking, "energised_s", lambda true: lambda s, p: true(s, p) if Purse.PLAN in p else 0.0),
    # floats
    guard("a bad level is confirmed a second late", watching, "_is_confirmed_bad", lambda true: lambda w, now: true(w, now - 1)),
    guard("a single bad reading acts", watching, "_is_confirmed_bad", lambda true: lambda w, now: w.level is Level.BAD),
    guard("a read that fails is taken for no news", watching, "_cannot_be_read", lambda true: lambda w, now: False),
    guard("the sump float is not asked before a start", asking, "_input_blocks", lambda true: lambda s, n, w: iter(()) if w.meaning is Trip.LOW_SUMP else true(s, n, w)),
    guard("the tray float is not asked before a start", asking, "_input_blocks", lambda true: lambda s, n, w: iter(()) if w.meaning is Trip.HIGH_TRAY else true(s, n, w)),
    guard("an input is trusted again at once", watching, "_acted", lambda true: lambda w, trip: replace(true(w, trip), hold_s=0.0)),
    guard("an input is trusted only after twice its time", watching, "_acted", lambda true: lambda w, trip: replace(true(w, trip), hold_s=2 * w.settle_s)),
    guard("an input that acted is never trusted again", watching, "_acted", lambda true: lambda w, trip: replace(true(w, trip), hold_s=inf)),
    guard("a low sump does not cut", stepping, "_look_at_levels", lambda true: lambda s: (s, ()) if s.run is not None else true(s)),
    # locks and what moves
    guard("a lock does not refuse", stepping, "blocks", lambda true: lambda s, ask: true(replace(s, locks=frozenset()), ask)),
    guard("a lock is lifted with its cause there", moving, "cause_still_there", lambda true: lambda s, trip: None),
    guard("a lock is never lifted", moving, "cause_still_there", lambda true: lambda s, trip: "it is still there"),
    guard("a live supply with the relay off is not noticed", moving, "look", lambda true: lambda s: (s, ())),
    guard("a line that stays on is not noticed", moving, "relay_read", lambda true: lambda s, is_on: (s, ())),
    guard("a contact that does not open is not noticed", contacts, "not_opening", lambda true: lambda s, run: None),
    guard("a dry pump goes on", moving, "is_dry", lambda true: lambda s, run: False),
    # holds
    guard("a service cuts nothing", holding, "CUTTING", lambda true: frozenset()),
    guard("a short pause replaces a long one", holding, "begin_hold", _replaced),
    guard("a hold never ends", holding, "look", lambda true: lambda s: (s, ())),
    guard("a soak keeps a person's run away", asking, "forbids", lambda true: lambda hold, purse: holding.OWN_PURSE.get(hold.kind) is not purse),
    # what a start knows
    restored("locks are forgotten at a start", *begin_places(locks=frozenset())),
    restored("pump time is forgotten at a start", *begin_places(spans=())),
    restored("holds are forgotten at a start", *begin_places(holds=())),
    restored("inputs that acted are forgotten at a start", *begin_places(tripped=frozenset())),
    restored("the rest is forgotten at a start", *begin_places(last_stop_s=-inf)),
    restored("no good inputs are asked for after a start", state, "_unseen", lambda true: lambda *args: replace(true(*args), hold_s=0.0)),
    Mutant("restore", "a run in progress is not in the journal", ((notebook, "memory_of"),), lambda true: lambda s: true(replace(s, run=None))),
    Mutant("restore", "the journal forgets the highest run id", ((journal, "as_known_now"), (keeping, "as_known_now")), known_with(last_run_id=0, reserved_run_id=0),
           "the runs that the guard remembers are in the records again before the next id is drawn; tests/core has it"),
    Mutant("restore", "an unsure clock's ages are believed", ((journal, "as_known_now"), (keeping, "as_known_now")), _sure),
    Mutant("restore", "times of another boot are taken for this one's", ((journal, "_shifted"),), _shifted_ages),
    Mutant("restore", "the journal is not believed", ((journal, "with_records"), (keeping, "with_records")), lambda true: lambda found, known, records: records),
    Mutant("restore", "the records do not make up for a torn journal", ((journal, "with_records"), (keeping, "with_records")), lambda true: lambda found, known, records: known),
    restored("another bed's journal is taken", journal, "read", _empty_foreign),
    restored("a damaged line of the journal is believed", journal, "crc32", lambda true: lambda data: 0,
             "one bit spoils the line, or moves a number in it by less than the judge allows; tests/guard flips every byte"),
    restored("a lost journal and history count as a bed whose floats are trusted", trial, "after_loss", lambda true: lambda plan, at: replace(true(plan, at), guard=replace(true(plan, at).guard, tripped=frozenset()))),
    restored("runs that were left open get no end", store, "unended", lambda true: lambda *args: []),
    restored("what nobody saw end counts as nothing", ends, "_died", lambda true: lambda *args: replace(true(*args), seconds=0.0)),
    restored("runs that only the guard knows are left out", ends, "_is_known", lambda true: lambda past, run_id: True),
    restored("the records forget holds", memory, "_holds", lambda true: lambda *args: ()),
    restored("the records forget locks", memory, "_open_trips", lambda true: lambda past, condition: [] if condition == "is_locked" else true(past, condition)),
    restored("the records forget pump time", past_runs.Recent, "spans", lambda true: lambda self: ()),
    # decisions
    core("what an edit takes away is not written down", cycles, "take_plan", _just_another_plan),
    core("cycles missed are not written down", cycles, "_miss", nothing),
    core("cycles skipped in a soak are not written down", cycles, "write_off", _never_written(Outcome.SKIPPED)),
    core("a refusal is not written down", runs, "refused", _without_write(RunResult)),
    core("the end of a run is not written down", doses, "ended", _without_write(RunResult)),
    core("an intent is not written down", runs, "_write_intent", _without_write(RunIntent)),
    core("what waits when a hold comes is not written down", barriers, "give_back", lambda true: lambda turn, *args: turn.put(replace(turn.state.runs, active=None, queue=()))),
    core("a run waits for the disk without end", runs, "INTENT_WAIT_S", lambda true: inf),
    core("runs are counted as long as they were meant to be", doses, "RunResult", lambda true: lambda run_id, at, outcome, seconds, *args, **kw: true(run_id, at, outcome, seconds and round(seconds + 5), *args, **kw)),
    core("a run that nobody told the end of counts as nothing", runs, "give_up", lambda true: lambda turn, active, seconds, reason: true(turn, active, 0.0, reason)),
)  # fmt: skip
