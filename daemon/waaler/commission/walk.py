"""The walk from its first step to its record."""

from collections.abc import Callable, Iterator, Sequence
from textwrap import wrap

from waaler.commission import dry, wet
from waaler.commission.parts import Finding, Hand, Task, Verdict
from waaler.commission.walking import Walk

__all__ = ["commission", "record"]

ATTENDED_S = 6 * 3600.0
DRY: tuple[Callable[[Walk], Iterator[Finding]], ...] = (dry.floats, dry.contact, dry.probes)
POWERED: tuple[Callable[[Walk], Iterator[Finding]], ...] = (dry.relays,)
WET: tuple[Callable[[Walk], Iterator[Finding]], ...] = (wet.outlets, wet.meter, wet.low_sump, wet.high_tray)
WIDTH = 80
MARKS = {Verdict.PASSED: "ok", Verdict.FAILED: "FAILED", Verdict.LEFT_OUT: "left out"}


def commission(walk: Walk) -> list[Finding]:
    """Walks through everything. Where a float is wrong, no water moves before it is right."""
    is_done, text = walk.site.order("attend", ATTENDED_S)
    if not is_done:
        return [Finding("begin", Verdict.FAILED, text)]
    findings: list[Finding] = []
    try:
        walk.person.do(Task(Hand.UNPLUG, "Pull the pump's plug, and keep it in your sight"))
        _take(walk, findings, DRY)
        if any(found.wrong_float and found.step.endswith(" by hand") for found in findings):
            text = "not tried: a float is wrong, and the pump must not run before it is right"
            findings.append(_kept(walk, Finding("pump and water", Verdict.LEFT_OUT, text)))
            return findings
        _take(walk, findings, POWERED)
        walk.person.do(Task(Hand.PLUG, "Plug the pump in. Tubes' ends where you can see every one of them"))
        _take(walk, findings, WET)
    finally:
        walk.site.order("stop")
        walk.site.order("resume")
    return findings


def _take(walk: Walk, findings: list[Finding], steps: Sequence[Callable[[Walk], Iterator[Finding]]]) -> None:
    for step in steps:
        for finding in step(walk):
            walk.person.tell(f"{MARKS[finding.verdict]}: {finding.step}: {finding.text}")
            findings.append(_kept(walk, finding))


def _kept(walk: Walk, finding: Finding) -> Finding:
    """Written into the history at once, so that a walk broken off leaves what it found."""
    is_kept, why = walk.site.enter(finding)
    if not is_kept:
        walk.person.tell(f"NOT WRITTEN into the bed's history: {why}")
    return finding


def record(title: str, when: str, findings: Sequence[Finding]) -> str:
    """The commissioning record, to be printed and kept beside the bed."""
    lines = [f"Commissioning record: {title}", f"{when}", ""]
    for finding in findings:
        head = f"  {MARKS[finding.verdict]:<9} {finding.step:<27} "
        lines += wrap(finding.text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
    failed = sum(finding.verdict is Verdict.FAILED for finding in findings)
    verdict = "Everything that was tried is right." if not failed else f"{failed} to be put right; then walk again."
    return "\n".join([*lines, "", verdict, "", "Signed: ______________________________"]) + "\n"
