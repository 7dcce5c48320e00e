"""What the last line does, case by case: computed from the net lists, printed into wiring.md by `draw.py`."""

from hardware.circuit import CIRCUITS
from hardware.play import Case, Change, Spell, play

from waaler.settings import Settings

__all__ = ["CASES", "MAINS_CASES", "limit_s", "table", "with_table"]

BEGIN = "<!-- truth table: printed by hardware.draw, do not edit -->"
END = "<!-- end of the truth table -->"

MARGIN = 1.2
"""K3 is set to the longest run and a fifth more: a knob is out by a tenth (common practice, no source)."""

BEFORE_S = -3600.0
SHOWN = 3
SHORT = {"pump-low-voltage": "low voltage", "pump-outlet": "switched outlet", "pump-mains": "mains"}


def limit_s(settings: Settings) -> float:
    """What K3 is set to for this file."""
    return settings.limits.longest_run_s * MARGIN


def _on(what: str, from_s: float, to_s: float | None = None) -> tuple[Change, ...]:
    """Closed from then on, or for a while."""
    return Change(from_s, what, True), *(() if to_s is None else (Change(to_s, what, False),))


def _away(what: str, from_s: float, to_s: float | None = None) -> tuple[Change, ...]:
    """Open, down or gone from then on, or for a while."""
    return Change(from_s, what, False), *(() if to_s is None else (Change(to_s, what, True),))


def _turned(at_s: float, to: str) -> tuple[Change, ...]:
    """S1 is turned; OFF is in the middle."""
    return tuple(Change(at_s, f"S1 {name}", name == to) for name in ("AUTO", "BY HAND"))


def _bouncing(from_s: float, to_s: float) -> tuple[Change, ...]:
    """The second float falls for 10 s out of 20: water runs back as soon as the pump stands."""
    times = [from_s + 20.0 * n for n in range(round((to_s - from_s) / 20.0))]
    return tuple(change for at_s in times for change in _away("S2", at_s, at_s + 10.0))


RUN = _on("K1", 0.0, 300.0)
STUCK = _on("K1", 0.0)
BY_HAND = (*_turned(BEFORE_S, "OFF"), *_turned(0.0, "BY HAND"))
GIVES_UP = "off until S1 is turned to OFF, or the power goes and comes"

CASES = {
    "run": Case("Run of 5 min, all is well", RUN, so="the Pi ends it"),
    "two runs": Case("Two runs, 15 min apart", (*RUN, *_on("K1", 900.0, 1200.0)), so="each has a limit of its own"),
    "dead on": Case("Pi dies in a run, its relay stays on", STUCK, so=GIVES_UP),
    "wild": Case(
        "Program gone wild: runs of 5 min, 1 s apart",
        tuple(change for n in range(6) for change in _on("K1", 301.0 * n, 301.0 * n + 300.0)),
        so="K3 limits each run, not their number: the guard and the float do",
    ),
    "dead off": Case("Pi dead, its relay off", so="nothing runs"),
    "k1": Case("K1 welded", STUCK, so=GIVES_UP),
    "k1 turned": Case(
        "K1 welded; S1 to OFF at 20 min, back to AUTO at 21 min",
        (*STUCK, *_turned(1200.0, "OFF"), *_turned(1260.0, "AUTO")),
        so="one more run of the limit: leave S1 on OFF",
    ),
    "k1 k4": Case(
        "K1 welded, cut-off relay K4 fitted",
        (*_away("K4", BEFORE_S), *STUCK, *_on("K4", 0.0, 300.0)),
        so="K4 ends the run",
    ),
    "off": Case("K1 welded, S1 on OFF", (*_turned(BEFORE_S, "OFF"), *STUCK), so="nothing runs"),
    "hand": Case(
        "BY HAND for 3 min, Pi dead, K4 fitted",
        (*_away("K4", BEFORE_S), *BY_HAND, *_turned(180.0, "OFF")),
        so="the person ends it; K3 starts anew next time",
    ),
    "hand low": Case(
        "BY HAND, second float falls at 2 min", (*BY_HAND, *_away("S2", 120.0)), so="the float ends it"
    ),
    "hand left": Case("BY HAND, forgotten", BY_HAND, so=GIVES_UP),
    "hand to auto": Case(
        "BY HAND, at 3 min to AUTO, K1 welded",
        (*BY_HAND, *_turned(180.0, "OFF"), *_on("K1", 0.0), *_turned(181.0, "AUTO")),
        so="OFF is in the middle, so K3 starts anew once",
    ),
    "back": Case("Power back at 0 min, K1 open", _away("supply", BEFORE_S, 0.0), so="nothing runs by itself"),
    "back welded": Case(
        "Power back at 0 min, K1 welded",
        (*_away("supply", BEFORE_S, 0.0), *_on("K1", BEFORE_S)),
        so="one run of the limit at every return of the power",
    ),
    "back by hand": Case(
        "Power back at 0 min, BY HAND forgotten",
        (*_away("supply", BEFORE_S, 0.0), *_turned(BEFORE_S, "BY HAND")),
        so="**starts by itself**: never leave S1 on BY HAND",
    ),
    "cut": Case(
        "Pump's supply lost from 2 to 3 min, Pi well",
        (*RUN, *_away("supply", 120.0, 180.0)),
        so="the Pi ends the run at its deadline",
    ),
    "cut welded": Case(
        "Supply lost from 2 to 10 min, K1 welded",
        (*STUCK, *_away("supply", 120.0, 600.0)),
        so="K3 starts anew with the power, once",
    ),
    "low": Case("Second float down, run of 5 min", (*RUN, *_away("S2", BEFORE_S)), so="nothing runs"),
    "falls": Case("Second float falls at 2 min", (*RUN, *_away("S2", 120.0)), so="the float ends it"),
    "low early": Case(
        "K1 welded, second float down, up at 30 min",
        (*STUCK, *_away("S2", 0.0, 1800.0)),
        so="K3 counted all the while: the float starts nothing",
    ),
    "bounces": Case(
        "K1 welded, second float bounces from 1 min on",
        (*STUCK, *_bouncing(60.0, 3600.0)),
        so="in bits, none after the limit: the float does not restart K3",
    ),
    "k3": Case(
        "K3's contact welded, run of 5 min",
        RUN,
        welded=frozenset({"K3"}),
        so="**nobody notices**: only the monthly try shows it",
    ),
    "k3 k1": Case(
        "K3's contact and K1 welded",
        STUCK,
        welded=frozenset({"K3"}),
        so="**no limit**: the float, S1 or the plug is all that is left",
    ),
    "k3 k1 float": Case(
        "The same, second float falls at 30 min",
        (*STUCK, *_away("S2", 1800.0)),
        welded=frozenset({"K3"}),
        so="the float ends it",
    ),
    "k3 dead": Case(
        "K3 dead, or its wire off", RUN, broken=frozenset({"K3"}), so="no water: the Pi or the plants tell"
    ),
    "k2": Case(
        "K2's contact welded, second float falls at 2 min",
        (*RUN, *_away("S2", 120.0)),
        welded=frozenset({"K2"}),
        so="**the float stops nothing**, with an outlet nothing but the plug; only the monthly try shows it",
    ),
    "k2 k1": Case(
        "K2's contact and K1 welded",
        STUCK,
        welded=frozenset({"K2"}),
        so="**no last line**: S1 or the plug; with an outlet the plug",
    ),
    "f2": Case("F2 blown", (*RUN, *_away("F2", BEFORE_S)), so="no water: the Pi or the plants tell"),
}
"""By a short name; times count from the moment at which the relay closes, S1 is turned or the power returns."""

MAINS_CASES = {
    "k0": Case("Mains only: K0's contacts welded", RUN, welded=frozenset({"K0"}), so="K2 falls with demand"),
    "k0 k2": Case(
        "Mains only: K0's and K2's contacts welded",
        RUN,
        welded=frozenset({"K0", "K2"}),
        so="**runs whatever S1 says**: the plug, or the breaker",
    ),
}


def table(settings: Settings) -> str:
    """Markdown. A column holds for all circuits, or names them.

    Times are minutes and seconds; a relay's own twentieth of a second is left out.
    """
    limit = limit_s(settings)
    head = (
        "| what happens | demand | K3 15-18 closed | pump runs | what follows |",
        "|---|---|---|---|---|",
    )
    rows = [_row(case, limit, tuple(CIRCUITS)) for case in CASES.values()]
    rows += [_row(case, limit, ("pump-mains",)) for case in MAINS_CASES.values()]
    return "\n".join([*head, *rows])


def _row(case: Case, limit: float, names: tuple[str, ...]) -> str:
    found = [play(CIRCUITS[name], case, limit).spells for name in names]
    columns = []
    for what in ("demand", "K3", "pump"):
        groups: dict[str, list[str]] = {}
        for name, spells in zip(names, found, strict=True):
            groups.setdefault(_words(spells[what]), []).append(SHORT[name])
        said = [f"{', '.join(shorts)}: {words}" for words, shorts in groups.items()]
        columns.append("; ".join(said) if len(said) > 1 else next(iter(groups)))
    return f"| {case.words} | {' | '.join(columns)} | {case.so} |"


def _words(spells: list[Spell]) -> str:
    """0:00 to 5:00, ..."""
    shown = [spell for spell in spells if spell[1] is None or spell[1] > 0.0]
    if not shown:
        return "never"
    if len(shown) > SHOWN and shown[-1][1] is not None:
        return f"{len(shown)} times, the last to {_clock(shown[-1][1])}"
    return ", ".join(_spell(spell) for spell in shown)


def _spell(spell: Spell) -> str:
    start, end = spell
    if start < 0.0:
        return "all the time" if end is None else f"until {_clock(end)}"
    return f"from {_clock(start)} on" if end is None else f"{_clock(start)} to {_clock(end)}"


def _clock(at_s: float) -> str:
    minutes, seconds = divmod(round(at_s), 60)
    return f"{minutes}:{seconds:02d}"


def with_table(page: str, settings: Settings) -> str:
    """The page with what stands between its two marks printed anew."""
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{table(settings)}\n{END}{after}"
