"""The last line, computed from the net lists: what the drawings show is what the truth table says.

Expected times are written by hand from what such a circuit must do: K3 is set to 6 min, a run asks for 5 min.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hardware.cases import CASES, MAINS_CASES, limit_s, table, with_table
from hardware.circuit import CIRCUITS, CONDUCTS, DEMAND, LOADS, LOW_VOLTAGE, Circuit, Function, Kind
from hardware.draw import FILE
from hardware.draw_circuit import Piece, wires_of
from hardware.pen import Point
from hardware.plans import PLANS
from hardware.play import Case, Spell, live, play

from waaler.settings import load

HARDWARE = Path(__file__).parents[2] / "hardware"
LIMIT_S = 360.0
HOUR_S = 3600.0
REACTS_S = 0.5

Spells = list[tuple[float, float | None]]

NEVER: Spells = []
ONE_RUN: Spells = [(0, 300)]
ONE_LIMIT: Spells = [(0, 360)]
NO_END: Spells = [(0, None)]

PUMP_RUNS: dict[str, Spells] = {
    "run": ONE_RUN,
    "two runs": [(0, 300), (900, 1200)],
    "dead on": ONE_LIMIT,
    "dead off": NEVER,
    "wild": [(301 * n, 301 * n + 300) for n in range(6)],
    "k1": ONE_LIMIT,
    "k1 turned": [(0, 360), (1260, 1620)],
    "k1 k4": ONE_RUN,
    "off": NEVER,
    "hand": [(0, 180)],
    "hand low": [(0, 120)],
    "hand left": ONE_LIMIT,
    "hand to auto": [(0, 180), (181, 541)],
    "back": NEVER,
    "back welded": ONE_LIMIT,
    "back by hand": ONE_LIMIT,
    "cut": [(0, 120), (180, 300)],
    "cut welded": [(0, 120), (600, 960)],
    "low": NEVER,
    "falls": [(0, 120)],
    "low early": NEVER,
    "bounces": [(0, 60), *((60 + 20 * n + 10, 80 + 20 * n) for n in range(15))],
    "k3": ONE_RUN,
    "k3 k1": NO_END,
    "k3 k1 float": [(0, 1800)],
    "k3 dead": NEVER,
    "k2": ONE_RUN,
    "k2 k1": NO_END,
    "f2": NEVER,
}
ALWAYS: Spells = [(-HOUR_S, None)]
OUTLET_PUMP_RUNS: dict[str, Spells] = PUMP_RUNS | {"k2": ALWAYS, "k2 k1": ALWAYS}
"""A switched outlet has one contact: once that is welded, nothing but the plug is left."""

MAINS_PUMP_RUNS: dict[str, Spells] = {"k0": ONE_RUN, "k0 k2": ALWAYS}


def spells(circuit: Circuit, case: Case, what: str = "pump") -> list[Spell]:
    return play(circuit, case, LIMIT_S).spells[what]


def is_near(found: list[Spell], wanted: Spells) -> bool:
    """To half a second: relays take a twentieth each."""
    same = [
        (one is None) == (other is None) and abs((one or 0.0) - (other or 0.0)) < REACTS_S
        for spell, expected in zip(found, wanted, strict=False)
        for one, other in zip(spell, expected, strict=True)
    ]
    return len(found) == len(wanted) and all(same)


@pytest.mark.parametrize("name", CIRCUITS)
@pytest.mark.parametrize("case", CASES)
def test_the_pump_runs_when_it_must_and_no_longer(name: str, case: str) -> None:
    wanted = OUTLET_PUMP_RUNS if name == "pump-outlet" else PUMP_RUNS

    assert is_near(spells(CIRCUITS[name], CASES[case]), wanted[case])


@pytest.mark.parametrize("case", MAINS_CASES)
def test_a_welded_contactor_is_cut_by_the_other(case: str) -> None:
    assert is_near(spells(CIRCUITS["pump-mains"], MAINS_CASES[case]), MAINS_PUMP_RUNS[case])


@pytest.mark.parametrize("name", CIRCUITS)
@pytest.mark.parametrize("case", CASES)
def test_the_sensed_supply_shows_when_the_pump_runs(name: str, case: str) -> None:
    circuit = CIRCUITS[name]

    assert spells(circuit, CASES[case], "sensed") == spells(circuit, CASES[case], "pump")


def test_the_float_takes_no_demand_from_the_limiter() -> None:
    bouncing = CASES["bounces"]

    for circuit in CIRCUITS.values():
        assert is_near(spells(circuit, bouncing, "demand"), NO_END)
        assert is_near(spells(circuit, bouncing, "K3"), ONE_LIMIT)


def test_the_limiter_is_set_longer_than_the_file_s_longest_run() -> None:
    settings = load(FILE)

    assert settings.limits.longest_run_s == 300.0
    assert limit_s(settings) == LIMIT_S


def test_the_page_has_the_table_that_the_net_lists_give() -> None:
    page = (HARDWARE / "wiring.md").read_text()

    assert with_table(page, load(FILE)) == page, "print it anew: .venv/bin/python -m hardware.draw"
    assert table(load(FILE)).count("\n") == len(CASES) + len(MAINS_CASES) + 1


# --- sabotages: each must change what the pump does, in a case that names it -------------------------


def moved(terminal: str, net: str) -> Callable[[Circuit], Circuit]:
    """The wire of one terminal goes to another net."""

    def sabotage(circuit: Circuit) -> Circuit:
        nets = {name: tuple(t for t in found if t != terminal) for name, found in circuit.nets.items()}
        return replace(circuit, nets=nets | {net: (*nets[net], terminal)})

    return sabotage


def bridged(one: str, other: str) -> Callable[[Circuit], Circuit]:
    """Two nets touch."""

    def sabotage(circuit: Circuit) -> Circuit:
        nets = {name: terminals for name, terminals in circuit.nets.items() if name != other}
        return replace(circuit, nets=nets | {one: (*circuit.nets[one], *circuit.nets[other])})

    return sabotage


def on_delay(circuit: Circuit) -> Circuit:
    return replace(circuit, timer=Function.ON_DELAY)


def by_16(circuit: Circuit) -> Circuit:
    """An on-delay relay on its break contact: closed at rest."""
    ends = {"K3:15-18": ("15", "16")}
    parts = tuple(replace(part, ends=ends.get(part.name, part.ends)) for part in circuit.parts)
    nets = {name: tuple("K3:16" if t == "K3:18" else t for t in found) for name, found in circuit.nets.items()}
    return Circuit(circuit.sources, parts, nets, Function.ON_DELAY)


def both(one: Callable[[Circuit], Circuit], other: Callable[[Circuit], Circuit]) -> Callable[[Circuit], Circuit]:
    return lambda circuit: other(one(circuit))


SABOTAGES: dict[str, tuple[Callable[[Circuit], Circuit], str]] = {
    "coil behind its own contact: it never closes": (moved("K3:A1", "within the limit"), "run"),
    "coil behind its own contact, on-delay: it pulses": (both(by_16, moved("K3:A1", "within the limit")), "k1"),
    "coil before the selector": (moved("K3:A1", "fused"), "run"),
    "coil at the supply": (moved("K3:A1", "24 V"), "run"),
    "coil before the Pi's relay": (moved("K3:A1", "auto"), "run"),
    "coil between the Pi's relays, not for BY HAND": (moved("K3:A1", "between relays"), "hand"),
    "coil behind the float": (moved("K3:A1", "float up"), "bounces"),
    "coil's other end at the wrong pole": (moved("K3:A2", "24 V"), "run"),
    "limiter bridged": (bridged("float up", "within the limit"), "k1"),
    "float bridged": (bridged(DEMAND, "float up"), "falls"),
    "Pi's relays bridged": (bridged("auto", DEMAND), "run"),
    "selector bridged": (bridged("fused", "auto"), "off"),
    "last line's coil before the limiter": (moved("K2:A1", "float up"), "k1"),
    "last line's coil before the float": (moved("K2:A1", DEMAND), "falls"),
    "float passed by": (moved("K3:15", DEMAND), "falls"),
    "an on-delay relay on 15-18": (on_delay, "run"),
    "an on-delay relay on 15-16: a dead coil limits nothing": (by_16, "k3 dead"),
}


@pytest.mark.parametrize("name", CIRCUITS)
@pytest.mark.parametrize("sabotage", SABOTAGES)
def test_a_circuit_wired_wrong_is_noticed(name: str, sabotage: str) -> None:
    spoil, case = SABOTAGES[sabotage]

    assert not is_near(spells(spoil(CIRCUITS[name]), CASES[case]), PUMP_RUNS[case])


def test_by_hand_past_the_last_line_is_noticed() -> None:
    spoilt = moved("S1:24", "pump")(LOW_VOLTAGE)

    assert is_near(spells(spoilt, CASES["hand left"]), NO_END)


def test_an_on_delay_coil_behind_its_own_contact_pulses_behind_a_welded_relay() -> None:
    spoilt = both(by_16, moved("K3:A1", "within the limit"))(LOW_VOLTAGE)

    assert len(spells(spoilt, CASES["k1"])) == 10
    assert sum((end or HOUR_S) - start for start, end in spells(spoilt, CASES["k1"])) > 3500.0


def test_joined_poles_are_refused() -> None:
    with pytest.raises(ValueError, match="short circuit"):
        spells(moved("F1:2", "0 V")(LOW_VOLTAGE), CASES["run"])


# --- the net lists themselves, and the drawings made from them ---------------------------------------


@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS)
def test_every_terminal_is_on_one_net_and_no_net_ends_in_the_air(circuit: Circuit) -> None:
    wired = [terminal for terminals in circuit.nets.values() for terminal in terminals]
    fitted = [terminal for part in circuit.parts for terminal in part.terminals]
    poles = {"X0:PE"} & set(wired) | {pole for source in circuit.sources for pole in source}

    assert sorted(wired) == sorted([*fitted, *poles])
    assert all(len(terminals) > 1 for terminals in circuit.nets.values())


def _returns(circuit: Circuit) -> set[str]:
    """Nets that are joined to a source's second pole with every contact closed."""
    grown = {circuit.net_of(second) for _, second in circuit.sources}
    for _ in circuit.parts:
        for part in circuit.parts:
            ends = {circuit.net_of(terminal) for terminal in part.terminals}
            grown |= ends if part.kind in CONDUCTS and ends & grown else set()
    return {net for net in grown if net}


@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS)
def test_no_current_finds_a_way_through_two_loads_or_a_diode(circuit: Circuit) -> None:
    """So the play may leave them out: each load has one end at a return, each diode its anode."""
    back = _returns(circuit)

    for part in circuit.parts:
        first, *others = (circuit.net_of(terminal) in back for terminal in part.terminals)
        if part.kind in LOADS:
            assert (first, *others) == (False, True), part.name
        if part.kind is Kind.DIODE:
            assert (first, *others) == (True, False), part.name


@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS)
@pytest.mark.parametrize("way", ["S1 AUTO", "S1 BY HAND"])
def test_the_pump_s_current_flows_through_neither_float_nor_limiter(circuit: Circuit, way: str) -> None:
    without = replace(circuit, parts=tuple(part for part in circuit.parts if part.key not in ("S2", "K3")))
    closed = frozenset({"supply", way, "K1", "K4", "K2", "K0", "Q1", "F1", "F2"})

    assert {part.name for part in circuit.parts if part.kind is Kind.MOTOR} <= live(without, closed)


def test_the_limiter_has_its_standard_marks_in_both_drawings() -> None:
    for name in CIRCUITS:
        svg = (HARDWARE / f"{name}.svg").read_text()

        assert all(f">{mark}<" in svg for mark in ("K3", "A1", "A2", "15", "16", "18", "S1", "AUTO", "BY HAND"))


def _points(name: str) -> dict[str, Point]:
    """Where each terminal stands on the drawing."""
    plan = PLANS[name]
    found = {terminal: point for terminal, (point, _) in plan.sources.items()}
    for part in CIRCUITS[name].parts:
        found |= dict(zip(part.terminals, plan.places[part.name], strict=False))
    return found


@pytest.mark.parametrize("name", CIRCUITS)
def test_the_drawn_wires_join_what_the_net_list_joins_and_nothing_else(name: str) -> None:
    circuit, at = CIRCUITS[name], _points(name)
    pieces = {piece for found in wires_of(circuit, PLANS[name]).values() for piece in found}

    for net, terminals in circuit.nets.items():
        wire = _wire_at(at[terminals[0]], pieces)
        assert {t for t, point in at.items() if any(_is_on(point, piece) for piece in wire)} == set(terminals), net


@pytest.mark.parametrize("name", CIRCUITS)
def test_no_wire_is_drawn_across_a_part(name: str) -> None:
    circuit, plan = CIRCUITS[name], PLANS[name]
    pieces = [piece for found in wires_of(circuit, plan).values() for piece in found]

    for part in circuit.parts:
        (x, y), (right, low) = plan.places[part.name]
        middle = ((x + right) / 2, (y + low) / 2)
        assert part.kind is Kind.EARTH or not any(_is_on(middle, piece) for piece in pieces), part.name


def _wire_at(point: Point, pieces: set[Piece]) -> set[Piece]:
    """What the eye follows from a point: pieces meet where an end of one lies on the other; a crossing is none."""
    wire = {piece for piece in pieces if _is_on(point, piece)}
    while True:
        more = {piece for piece in pieces - wire if any(_meet(piece, one) for one in wire)}
        if not more:
            return wire
        wire |= more


def _meet(one: Piece, other: Piece) -> bool:
    return any(_is_on(end, other) for end in one) or any(_is_on(end, one) for end in other)


def _is_on(point: Point, piece: Piece) -> bool:
    (x1, y1), (x2, y2) = piece
    x, y = point
    return min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)
