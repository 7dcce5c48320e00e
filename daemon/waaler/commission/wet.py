"""With the pump plugged in: outlets and leaks, the drain's time, the meter, and both floats by water itself."""

from collections.abc import Iterator
from dataclasses import replace
from math import ceil

from waaler.commission.parts import Finding, Hand, Question, Task, Verdict
from waaler.commission.runs import NotRun, run_pump
from waaler.commission.walking import Walk
from waaler.guard.messages import Input

__all__ = ["high_tray", "low_sump", "meter", "outlets"]

LEAK_RUN_S = 120.0
BUCKET_S = 30.0
METER_WITHIN = 0.1
MOST_RUNS = 8
LEAST_RUN_BACK_S = 60.0
STOPS = {Input.SUMP_LOW: "sump low", Input.TRAY_HIGH: "tray too full"}


def outlets(walk: Walk) -> Iterator[Finding]:
    """Every outlet seen to run, no leak, how long the water needs to come back, and room for it."""
    try:
        run_pump(walk, min(walk.longest_run_s, LEAK_RUN_S))
    except NotRun as problem:
        yield Finding("outlets", Verdict.FAILED, f"the pump did not run: {problem}")
        return
    ended_s = walk.site.now_s
    walk.person.do(Task(Hand.WAIT_DRAINED, "Wait until the drain only drips, and press Enter at that moment"))
    back_s = walk.site.now_s - ended_s
    yield _seen(walk, Question.OUTLETS, "Did every outlet run?", "every outlet ran", "find the blocked ones")
    yield _seen(walk, Question.TIGHT, "Was everything tight?", "no leak", "hand-tight and a quarter turn more")
    yield _run_back(walk, back_s)
    words = f"Is there room above the full mark for the {walk.back_l:.0f} L that run back?"
    yield _seen(walk, Question.ROOM, words, "there is room for what runs back", "set the full mark lower")


def _seen(walk: Walk, question: Question, words: str, good: str, remedy: str) -> Finding:
    step = question.value
    if walk.person.sees(question, words):
        return Finding(step, Verdict.PASSED, good)
    return Finding(step, Verdict.FAILED, f"not so: {remedy}, then walk again")


def _run_back(walk: Walk, back_s: float) -> Finding:
    """Measured against the file; the guard waits for the longer of this and the settle times."""
    minutes = ceil(max(back_s, LEAST_RUN_BACK_S) / 60)
    amounts = {"run_back": back_s}
    if back_s > walk.run_back_s:
        text = f"the water needs {back_s / 60:.1f} min to come back, longer than the file has: write `run_back: "
        return Finding("run_back", Verdict.FAILED, f"{text}{minutes} min` under limits", amounts)
    text = f"the water was back after {back_s / 60:.1f} min; `run_back: {minutes} min` would do"
    return Finding("run_back", Verdict.PASSED, text, amounts)


def meter(walk: Walk) -> Iterator[Finding]:
    """The flow meter against a bucket."""
    if walk.pulses_per_l is None:
        return
    walk.person.do(Task(Hand.BUCKET, f"Lead the whole line into a bucket; the pump runs {BUCKET_S:.0f} s"))
    flows: list[float] = []
    try:
        ran_s = run_pump(walk, BUCKET_S, watch=lambda look: flows.append(look.flow_l_per_min or 0.0))
    except NotRun as problem:
        yield Finding("flow_meter", Verdict.FAILED, f"the pump did not run: {problem}")
        return
    poured_l = walk.person.litres("How many litres are in the bucket?")
    mean = sum(flows) / len(flows) if flows else 0.0
    metered_l = mean * ran_s / 60
    if poured_l is None or not poured_l > 0:
        yield Finding("flow_meter", Verdict.LEFT_OUT, "the bucket was not measured")
    elif metered_l == 0.0:
        yield Finding("flow_meter", Verdict.FAILED, f"gave no pulse while {poured_l:g} L flowed: look at its wire")
    elif abs(metered_l - poured_l) > METER_WITHIN * poured_l:
        right = walk.pulses_per_l * metered_l / poured_l
        text = f"tells {metered_l:.1f} L of {poured_l:g} L: write `pulses_per_litre: {right:.0f}`"
        yield Finding("flow_meter", Verdict.FAILED, text)
    else:
        yield Finding("flow_meter", Verdict.PASSED, f"tells {metered_l:.1f} L of {poured_l:g} L")


def low_sump(walk: Walk) -> Iterator[Finding]:
    """Drawn down until the float cuts the run, the intake still covered."""
    if Input.SUMP_LOW not in walk.site.look().levels:
        return
    words = "Draw the sump down to a little above its float (keep the water), and go on drawing while the pump runs"
    walk.person.do(Task(Hand.DRAW_DOWN, words))
    found = _run_until_bad(walk, Input.SUMP_LOW, "the sump's float")
    if found.verdict is Verdict.PASSED and not walk.person.sees(
        Question.INTAKE_COVERED, "Is the pump's intake still covered by 5 cm of water?"
    ):
        text = "cuts too late: the intake is no longer covered by 5 cm. Mount the float higher"
        found = replace(found, verdict=Verdict.FAILED, text=text)
    yield found
    walk.person.do(Task(Hand.REFILL, "Pull the pump's plug, fill the sump to its full mark, plug it in again"))


def high_tray(walk: Walk) -> Iterator[Finding]:
    """The drain plugged until the float cuts the run, below the rim."""
    if Input.TRAY_HIGH not in walk.site.look().levels:
        return
    walk.person.do(Task(Hand.BLOCK_DRAIN, "Plug the tray's drain, and stay beside it"))
    found = _run_until_bad(walk, Input.TRAY_HIGH, "the tray's float")
    if found.verdict is Verdict.PASSED and not walk.person.sees(
        Question.BELOW_RIM, "Did the water stay below the tray's rim?"
    ):
        text = "cuts too late: mount the float lower, or raise the rim"
        found = replace(found, verdict=Verdict.FAILED, text=text)
    yield found
    walk.person.do(Task(Hand.FREE_DRAIN, "Free the drain again"))


def _run_until_bad(walk: Walk, name: Input, who: str) -> Finding:
    step = f"{name.value} by water"
    try:
        for _ in range(MOST_RUNS):
            run_pump(walk, walk.longest_run_s)
            if any(STOPS[name] in stop for stop in walk.site.look().stops):
                return Finding(step, Verdict.PASSED, f"{who} stopped the pump", of_float=name)
            if not walk.person.stands_by():
                return Finding(step, Verdict.LEFT_OUT, "the run was not confirmed any more")
    except NotRun as problem:
        return Finding(step, Verdict.FAILED, f"the pump did not run: {problem}", of_float=name)
    text = f"{who} did not stop the pump in {MOST_RUNS} runs: find out why before it waters"
    return Finding(step, Verdict.FAILED, text, of_float=name)
