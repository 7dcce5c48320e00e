"""With the pump unplugged: floats by hand, wires, the tray's contact, probes, relays."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain

from waaler.commission.judging import FLOATS, UNSTEADY, judge_float, judge_wire
from waaler.commission.parts import Finding, Hand, Look, Question, Task, Verdict
from waaler.commission.runs import NotRun, run_pump
from waaler.commission.walking import Walk
from waaler.guard.messages import Input

__all__ = ["contact", "floats", "probes", "relays"]

LOOKS, LOOK_EVERY_S = 6, 0.3
"""Each longer than the guard's own look at its inputs, all together longer than `confirm`."""

SENSES_S = 11.0
"""Advisers are read every 10 s."""

LEAST_STEP_SHARE = 0.05
CLICK_S = 10.0


def floats(walk: Walk) -> Iterator[Finding]:
    """Each float hanging and lifted, then with its wire off."""
    names = [name for name in FLOATS if name in walk.site.look().levels]
    for name in FLOATS:
        if name not in names:
            yield Finding(f"{name} by hand", Verdict.LEFT_OUT, "not fitted, as the file says")
    for name in names:
        before = _steady(walk).levels
        hanging = _moved(walk, name, Hand.LOWER).levels
        lifted = _moved(walk, name, Hand.LIFT).levels
        found = judge_float(name, before, hanging, lifted, walk.pins)
        yield found
        walk.person.do(Task(Hand.LET_GO, f"Let {FLOATS[name][0]} go, as the water has it", name))
        if found.verdict is not Verdict.PASSED:
            continue
        walk.person.do(Task(Hand.WIRE_OFF, f"Pull one wire of {FLOATS[name][0]} off at the header", name))
        yield judge_wire(name, _steady(walk).levels)
        walk.person.do(Task(Hand.WIRE_ON, "Put it back", name))


def _moved(walk: Walk, name: Input, hand: Hand) -> Look:
    who, down, up, low, high = FLOATS[name]
    must, where = (down, low) if hand is Hand.LOWER else (up, high)
    verb = "Let" if hand is Hand.LOWER else "Lift"
    tail = "hang down" if hand is Hand.LOWER else "up"
    walk.person.do(Task(hand, f"{verb} {who} {tail} as {where} would: {name} must read {must.upper()}", name))
    found = _steady(walk)
    walk.person.tell(", ".join(f"{other} reads {level}" for other, level in found.levels.items()))
    return found


def _steady(walk: Walk) -> Look:
    """Looks for a while; an input that changes although nobody moves it is unsteady."""
    looks: list[Look] = []
    for _ in range(LOOKS):
        walk.site.wait(LOOK_EVERY_S)
        looks.append(walk.site.look())
    seen = {name: {look.levels[name] for look in looks} for name in looks[0].levels}
    levels = {name: next(iter(found)) if len(found) == 1 else UNSTEADY for name, found in seen.items()}
    return replace(looks[-1], levels=levels)


def contact(walk: Walk) -> Iterator[Finding]:
    """The contact at the tray's lowest spot, which only advises."""
    if walk.site.look().is_tray_wet is None:
        return
    walk.person.do(Task(Hand.DRY_TRAY, "Wipe the contact at the tray's lowest spot dry"))
    walk.site.wait(SENSES_S)
    dry = walk.site.look().is_tray_wet
    walk.person.do(Task(Hand.WET_TRAY, "Wet it"))
    walk.site.wait(SENSES_S)
    wet = walk.site.look().is_tray_wet
    walk.person.do(Task(Hand.DRY_TRAY, "Wipe it dry again"))
    if (dry, wet) == (False, True):
        yield Finding("tray_wet", Verdict.PASSED, "reads dry when dry and wet when wet")
    else:
        words = {True: "wet", False: "dry", None: "nothing"}
        text = f"reads {words[dry]} when dry and {words[wet]} when wet: look at its wire and its GPIO"
        yield Finding("tray_wet", Verdict.FAILED, text)


def probes(walk: Walk) -> Iterator[Finding]:
    """Each probe in air and in water must differ; the calibration comes later, in the media."""
    return chain.from_iterable(_probe(walk, name, full) for name, full in walk.probes.items())


def _probe(walk: Walk, name: str, full: float) -> Iterator[Finding]:
    walk.person.do(Task(Hand.PROBE_IN_AIR, f"Hold the probe {name} in air, dry", name))
    air = walk.site.counts(name)
    walk.person.do(Task(Hand.PROBE_IN_WATER, f"Hold {name} in water up to its mark, not above", name))
    water = walk.site.counts(name)
    walk.person.do(Task(Hand.PROBE_BACK, f"Put {name} into its pot", name))
    if air is None or water is None:
        yield Finding(name, Verdict.FAILED, "gives no reading: look at its wire, its channel and the converter")
    elif abs(air - water) < LEAST_STEP_SHARE * full:
        text = f"reads {air:.0f} in air and {water:.0f} in water: no probe on this channel, or a dead one"
        yield Finding(name, Verdict.FAILED, text)
    else:
        yield Finding(name, Verdict.PASSED, f"reads {air:.0f} counts in air and {water:.0f} in water")


def relays(walk: Walk) -> Iterator[Finding]:
    """Heard to click; the supply behind the last contact, where it is sensed, must follow."""
    seconds = CLICK_S + 6.0 * walk.has_cutoff
    words = "each relay click alone and then both" if walk.has_cutoff else "the relay click on and off"
    walk.person.tell(f"The relay is switched on for {seconds:.0f} s now, the pump unplugged. Listen.")
    seen: list[bool] = []
    try:
        run_pump(walk, seconds, watch=lambda look: seen.append(bool(look.is_live)))
    except NotRun as problem:
        yield Finding("relay", Verdict.FAILED, f"was not switched on: {problem}")
        return
    walk.site.wait(LOOKS * LOOK_EVERY_S)
    after = walk.site.look().is_live
    if not walk.person.sees(Question.CLICKS, f"Did you hear {words}?"):
        text = "no click: look at the relay board's supply, its input's wire and `energised_by`"
        yield Finding("relay", Verdict.FAILED, text)
    elif after is not None and (not any(seen) or after):
        text = "clicks, but supply_sensed does not follow: look at the sensed contact and its wire"
        yield Finding("relay", Verdict.FAILED, text)
    else:
        follows = "" if after is None else ", and the sensed supply follows"
        yield Finding("relay", Verdict.PASSED, f"clicks on and off{follows}")
