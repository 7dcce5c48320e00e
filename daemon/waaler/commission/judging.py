"""What a float's readings mean: right, swapped with the other, upside down, or no float at all."""

from collections.abc import Mapping

from waaler.commission.parts import Finding, Verdict
from waaler.guard.messages import Input

__all__ = ["FLOATS", "UNSTEADY", "judge_float", "judge_wire"]

UNSTEADY = "unsteady"
"""A level that changed although nobody moved the float."""

FLOATS = {
    Input.SUMP_LOW: ("the sump's float", "bad", "good", "an empty sump", "a full sump"),
    Input.TRAY_HIGH: ("the tray's float", "good", "bad", "a dry tray", "a tray about to run over"),
}
"""By input: its name, what it must read hanging and lifted, and what water does that."""

Levels = Mapping[str, str]


def judge_float(name: Input, before: Levels, hanging: Levels, lifted: Levels, pins: Mapping[str, str]) -> Finding:
    """From what every input read before, with this float hanging, and with it lifted.

    pins: each input's place on the header, in words.
    """
    who, down, up, _, _ = FLOATS[name]
    step = f"{name} by hand"
    others = [other for other in hanging if other != name and _moved(before[other], hanging[other], lifted[other])]
    got = (hanging[name], lifted[name])
    if got == (down, up) and not others:
        return Finding(step, Verdict.PASSED, f"{who} reads {down} hanging and {up} lifted", of_float=name)
    if got == (down, up):
        text = f"moving {who} changed {others[0]} too: their wires touch, or share a pin"
    elif UNSTEADY in got:
        text = f"{who} does not read steadily while it is held: a bad contact, or a loose wire"
    elif others:
        text = (
            f"SWAPPED: moving {who} changed {others[0]} and not {name}. Exchange the two floats' wires,"
            f" {pins.get(name, name)} with {pins.get(others[0], others[0])}"
        )
    elif got == (up, down):
        text = (
            f"INVERTED: {who} reads {got[0]} hanging and {got[1]} lifted. Turn it over on its stem or mount, so"
            " that closed means all is well; do not write `closed: bad`, a broken wire would then read good"
        )
    else:
        text = _stays(who, got[0])
    return Finding(step, Verdict.FAILED, text, of_float=name)


def _moved(*levels: str) -> bool:
    return len(set(levels)) > 1 and UNSTEADY not in levels


def _stays(who: str, level: str) -> str:
    causes = {
        "good": "its wires touch, its switch sticks closed, or the GPIO is another one",
        "bad": "a wire is off or broken, the GPIO is another one, or its switch sticks open",
    }
    return f"{who} reads {level} whatever is done to it: {causes.get(level, 'its line gives an error')}"


def judge_wire(name: Input, without: Levels) -> Finding:
    """What it reads with its wire off."""
    who, step = FLOATS[name][0], f"{name} without its wire"
    if without[name] != "good":
        verdict, text = Verdict.PASSED, f"{who} reads {without[name]} with its wire off, and stops the pump"
    else:
        verdict, text = Verdict.FAILED, f"{who} reads good with its wire off: nobody would notice a broken wire"
    return Finding(step, verdict, text, of_float=name)
