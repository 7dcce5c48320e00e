"""A simulated bed for the walk: real device classes on mock lines, the real guard, time that does not wait."""

from dataclasses import replace

from waaler.commission.parts import Finding, Hand, Look, Person, Question, Task
from waaler.core import joined as core
from waaler.core.facts import Amount, Fact
from waaler.core.memory import Memory
from waaler.core.messages import Answer, Order, OrderKind, Write
from waaler.core.messages import Look as CoreLook
from waaler.core.state import Setup
from waaler.devices.bench import open_bench
from waaler.devices.hands import Hands
from waaler.devices.pump_lines import open_pump_lines
from waaler.devices.simulated import SimulatedBed, simulated_wiring
from waaler.guard.asking import held_by
from waaler.guard.messages import Alone, Flow, Input, Instant, Level, LevelRead, ReadBack, Relay, Wake
from waaler.guard.words import words
from waaler.plan.sensing import AdviserKind
from waaler.settings import Settings

__all__ = ["SimulatedPerson", "SimulatedSite"]

STEP_ON_S, STEP_OFF_S = 0.15, 0.8
NOON_WALL_S = 1_782_036_000.0
"""2026-06-21 10:00 UTC: no matter which day."""

IN_AIR, IN_WATER = 0.0, 110.0
DRAINED_L = 0.1
START_S = 3600.0
UNITS = {"run_back": "s"}


class SimulatedSite:
    """facts: what the history would hold."""

    def __init__(self, settings: Settings, hands: Hands) -> None:
        names = tuple(a.name for a in settings.sensing.advisers if a.kind is AdviserKind.MOISTURE)
        self.wiring = simulated_wiring(settings.wiring, names)
        self.figures, self.hands = settings.figures, hands
        self.facts: list[Fact] = []
        self._now_s = START_S
        self.bed = SimulatedBed(settings.figures, self.wiring, lambda: 12.0, hands=hands)
        self.bed.move(0.0)
        self._bench = open_bench(self.wiring, self.bed.factory, self.bed.i2c)
        assert self.wiring.pump_pins is not None
        self._lines = open_pump_lines(self.wiring.pump_pins, self.bed.factory, lambda: self._now_s)
        self._limits = settings.limits
        setup = Setup(settings.plan, settings.sensing, settings.limits, must_be_proven=True)
        self._core = core.begin(setup, Memory(), self._at)
        self._answer: Answer | None = None
        self._flow_s = self._now_s
        self.wait(1.0)

    def close(self) -> None:
        self._lines.close()
        self._bench.close()

    @property
    def _at(self) -> Instant:
        return Instant(self._now_s, NOON_WALL_S + self._now_s)

    @property
    def now_s(self) -> float:
        return self._now_s

    @property
    def is_armed(self) -> bool:
        """Whether the plan may water from now on."""
        return not self._core.decisions.proving.unproven

    def look(self) -> Look:
        guard = self._core.guard
        wet = self._bench.advisers.get("tray_wet", lambda: None)()
        levels = {name.value: (watch.level or Level.NOT_READ).value for name, watch in guard.watches}
        held = held_by(guard)
        return Look(
            levels=levels,
            is_running=guard.run is not None,
            stops=tuple(words(watch.trip, name) for name, watch in guard.watches if watch.trip),
            held_by=None if held is None else held.reason,
            held_s=None if held is None or held.free_at_s is None else held.free_at_s - self._now_s,
            is_tray_wet=None if wet is None else wet > 0.5,
            flow_l_per_min=guard.flow_l_per_min,
            is_live=guard.is_read_back_on if self._limits.has_read_back else None,
        )

    def counts(self, name: str) -> float | None:
        return self._bench.counts[name]()

    def order(self, do: str, seconds: float = 0.0) -> tuple[bool, str]:
        return self._give(Order(1, OrderKind(do), "you", seconds))

    def enter(self, finding: Finding) -> tuple[bool, str]:
        entered = tuple(Amount(name, value, UNITS[name]) for name, value in finding.amounts.items())
        kind, wrong = OrderKind.COMMISSION, finding.wrong_float
        return self._give(Order(1, kind, "you", amounts=entered, text=finding.entry, wrong_float=wrong))

    def _give(self, order: Order) -> tuple[bool, str]:
        self._answer = None
        self._take(core.tell(self._core, self._at, order))
        answer: Answer | None = self._answer
        return (False, "no answer") if answer is None else (answer.is_done, answer.text)

    def wait(self, seconds: float) -> None:
        """Moves water, reads every line through its device and wakes both machines, step by step."""
        end_s = self._now_s + seconds
        while self._now_s < end_s:
            step_s = min(STEP_ON_S if self._is_quick else STEP_OFF_S, end_s - self._now_s)
            self._now_s += step_s
            self.bed.move(step_s)
            self._read()
            if self._core.guard_wake_s <= self._now_s:
                self._take(core.tell_guard(self._core, self._at, Wake()))
            if self._core.wake_s <= self._now_s:
                self._take(core.tell(self._core, self._at, CoreLook()))

    @property
    def _is_quick(self) -> bool:
        """While the pump runs, and until the sensed supply must be seen dead after it."""
        guard = self._core.guard
        return guard.run is not None or self._now_s < guard.last_stop_s + STEP_OFF_S

    def _read(self) -> None:
        for name, read in self._lines.levels.items():
            level = read()
            self._take(core.tell_guard(self._core, self._at, LevelRead(name, level)))
        if self._lines.is_live is not None:
            self._take(core.tell_guard(self._core, self._at, ReadBack(self._lines.is_live())))
        if self._lines.flow is not None and self._now_s >= self._flow_s + 1.0:
            self._flow_s = self._now_s
            self._take(core.tell_guard(self._core, self._at, Flow(self._lines.flow())))

    def _take(self, answer: tuple[core.Joined, list[core.Output]]) -> None:
        self._core, outputs = answer
        for output in outputs:
            if isinstance(output, Relay):
                self._lines.relay.on() if output.on else self._lines.relay.off()
            elif isinstance(output, Alone):
                self._lines.relay.alone(output.contact)
            elif isinstance(output, Answer):
                self._answer = output
            elif isinstance(output, Write):
                self.facts.append(output.fact)


class SimulatedPerson:
    """Does to the simulated bed what the walk asks for, after the person at the terminal has read it."""

    def __init__(self, site: SimulatedSite, person: Person) -> None:
        self._site, self._person = site, person
        self._lifted_l = 0.0

    def tell(self, text: str) -> None:
        self._person.tell(text)

    def do(self, task: Task) -> None:
        self._person.do(task)
        self._lifted_l = self._site.bed.water.lifted_l
        self._act(task)
        self._site.wait(0.5)

    def sees(self, question: Question, words: str) -> bool:
        water, figures = self._site.bed.water, self._site.figures
        answer = {
            Question.CLICKS: True,
            Question.OUTLETS: water.lifted_l > 0,
            Question.TIGHT: True,
            Question.ROOM: True,
            Question.INTAKE_COVERED: water.sump_l > figures.sump_empty_l,
            Question.BELOW_RIM: water.spilled_l == 0.0,
        }[question]
        self._person.tell(f"{words} Simulated: {'yes' if answer else 'no'}.")
        return answer

    def litres(self, words: str) -> float | None:
        litres = self._site.bed.water.lifted_l - self._lifted_l
        self._person.tell(f"{words} Simulated: {litres:.1f}.")
        return litres

    def stands_by(self) -> bool:
        return True

    def _act(self, task: Task) -> None:
        site, hands = self._site, self._site.hands
        match task.hand:
            case Hand.UNPLUG | Hand.PLUG:
                hands.is_pump_plugged = task.hand is Hand.PLUG
            case Hand.LOWER | Hand.LIFT:
                hands.held[Input(task.name)] = task.hand is Hand.LIFT
            case Hand.LET_GO:
                hands.held.pop(Input(task.name), None)
            case Hand.WIRE_OFF:
                hands.broken.add(Input(task.name))
            case Hand.WIRE_ON:
                hands.broken.discard(Input(task.name))
            case Hand.WET_TRAY | Hand.DRY_TRAY:
                hands.is_tray_wetted = task.hand is Hand.WET_TRAY
            case Hand.PROBE_IN_AIR | Hand.PROBE_IN_WATER:
                hands.probes[task.name] = IN_AIR if task.hand is Hand.PROBE_IN_AIR else IN_WATER
            case Hand.PROBE_BACK:
                hands.probes.pop(task.name, None)
            case Hand.WAIT_DRAINED:
                self._wait_drained()
            case Hand.DRAW_DOWN:
                site.bed.water = replace(site.bed.water, sump_l=1.02 * site.figures.sump_low_l)
            case Hand.REFILL:
                site.bed.water = replace(site.bed.water, sump_l=site.figures.sump_full_l)
            case Hand.BLOCK_DRAIN | Hand.FREE_DRAIN:
                hands.drain_open = 0.0 if task.hand is Hand.BLOCK_DRAIN else 1.0
            case Hand.BUCKET:
                pass

    def _wait_drained(self) -> None:
        while self._site.bed.water.tray_l > DRAINED_L:
            self._site.wait(1.0)
