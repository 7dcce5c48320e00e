"""What each kind of alert says: `Words` by kind. Nothing here but text."""

from waaler.core.alert import AlertKind, Words

__all__ = [
    "CRASHED", "FIRST_FILL", "FIXED", "HISTORY_NOT_KEPT", "LEAK", "LOSS", "POWER_CAME_BACK", "SUMP_LOW",
    "cycle_missed", "loose", "low_in_runs", "no_sign", "not_commissioned", "not_read", "not_told", "not_valid",
    "often", "outside", "paused_long", "pump_weaker", "soon_low",
]  # fmt: skip

UNPLUGGED = "Safe to touch with the pump unplugged; where mains may be wet: do not, switch off at the board."
DRY = "Safe to touch: it has to do with the small voltages and the data alone."
STOPPED = "The pump is stopped for safety."

STOPS = {
    AlertKind.TRAY_HIGH: Words(
        "Tray too full: is the drain blocked?",
        STOPPED,
        "The water is in the tray. Do NOT add water; unplug the pump and free the drain first.",
        UNPLUGGED,
        "Starts again by itself once the tray has been down for a while.",
        is_thirsty=True,
    ),
    AlertKind.OVERRUN: Words(
        "Ran too long: the pump's supply stayed on after its time.",
        "Locked: nothing starts any more.",
        "Pull the pump's plug, look at the relay, then release with `waaler clear`.",
        "Do not touch before the plug is pulled; where mains may be wet, switch off at the board.",
        "Does not start again by itself.",
        is_thirsty=True,
    ),
    AlertKind.NO_FLOW: Words(
        "Nothing moves: the pump ran but no water flowed.",
        "The run was stopped, so that the pump does not run dry.",
        "Pull the plug, then look at plug, fuse, filter and the pump's intake.",
        UNPLUGGED,
        "The next cycle tries again by itself.",
        is_thirsty=True,
    ),
    AlertKind.FLOW_WHILE_OFF: Words(
        "Water moves with the pump off.",
        "Locked: nothing starts any more.",
        "Pull the pump's plug, look at the relay and for a siphon, then release with `waaler clear`.",
        "Do not touch before the plug is pulled; where mains may be wet, switch off at the board.",
        "Does not start again by itself.",
        is_thirsty=True,
    ),
}
AGAIN_AFTER_REFILL = "Starts again by itself once the level has been good for a while."
SUMP_LOW = Words(
    "Sump low at rest.",
    "No run starts until it reads good.",
    touch=UNPLUGGED,
    again=AGAIN_AFTER_REFILL,
    refill=True,
    is_thirsty=True,
)
FIRST_FILL = Words(
    "First fill: the dry media have taken their share and the sump is low.",
    "The soak waits.",
    touch=UNPLUGGED,
    again="The soak goes on by itself.",
    refill=True,
)
REFILL_DUE = Words(
    "Refill due: by reckoning the sump is at its low mark within hours.",
    "Watering goes on until the float says low.",
    touch=UNPLUGGED,
    again="The plan goes on by itself.",
    refill=True,
    is_thirsty=True,
)
LEAK = Words(
    "Leak suspected: after the last run less water came back than the pots can have kept.",
    "Every run is halved from now on.",
    "Pull the pump's plug; look under tray, hose and line, then at the tray's rim. `waaler measure --sump` tells"
    " the tool the level.",
    UNPLUGGED,
    "Whole runs come back by themselves with the next level that fits.",
    is_thirsty=True,
)
LEAK_UNSEEN = Words(
    "A leak was suspected, and nobody has read the sump's level since.",
    "Runs are whole again.",
    "Look under tray, hose and line; enter the level with `waaler measure --sump`, or look at the gauge.",
    UNPLUGGED,
    "Nothing is stopped.",
)
LOSS = Words(
    "Leak suspected: the sump holds less than the plants can have drunk.",
    "The plan goes on.",
    "Look under sump, tray and line for a slow loss; read the level again after a night.",
    UNPLUGGED,
    "Nothing is stopped.",
)
CLOCK_UNSURE = Words(
    "The clock has not been set since the power came back.",
    "The bed is watered all the same, with no gap longer than the plan's longest by day.",
    "Look at the network or the clock module.",
    DRY,
    "Ends by itself when the clock is set.",
)
HISTORY_NOT_KEPT = Words(
    "History is not being kept: the disk does not take it.",
    "Watering goes on, counted in memory.",
    "Look at the card and its free space.",
    DRY,
    "Ends by itself when the disk takes again.",
)
SOLUTION_DUE = Words(
    "The solution is due: it is old, or as much was topped up as the sump holds.",
    "The plan goes on.",
    "Empty the sump where it may drain, mix it anew, enter it with `waaler refill AMOUNT --of solution --new`.",
    UNPLUGGED,
    "Nothing is stopped.",
)
DRAIN_SLOWING = Words(
    "The drain is slowing: after the last runs the tray stayed wet for half as long again as usual.",
    "The plan goes on; the tray's float stops the pump if it must.",
    "Unplug the pump; clear roots and fines from drain and drain pipe.",
    UNPLUGGED,
    "Nothing is stopped.",
)
CLEANING_DUE = Words(
    "Pump and filter are due for cleaning.",
    "The plan goes on.",
    'Unplug the pump; clean intake, filter and pump; enter it with `waaler note --cleaned "filter"`.',
    UNPLUGGED,
    "Nothing is stopped.",
)
MANY_SKIPS = Words(
    "Many skips: a sensor left out a third or more of the last day's cycles.",
    "At least half of the planned minutes run all the same.",
    "Feel the media of the pot with the probe; if they are dry, look at the probe.",
    DRY,
    "Ends by itself when more cycles run.",
)
CRASHED = Words(
    "The daemon ended without being told to, and was started again.",
    "The relay was switched off in between; a run that was on counts to its deadline.",
    "Look at the log; `waaler acknowledge` ends this alert.",
    DRY,
    "The plan goes on by itself.",
)
POWER_CAME_BACK = Words(
    "The power was off, or the Pi was started anew without a clean end.",
    "A run that was on counts to its deadline; what was missed is made up once.",
    "Look at the plants and at the supply; `waaler acknowledge` ends this alert.",
    DRY,
    "The plan goes on by itself.",
)


FIXED = STOPS | {
    AlertKind.REFILL_DUE: REFILL_DUE,
    AlertKind.LEAK_UNSEEN: LEAK_UNSEEN,
    AlertKind.SOLUTION_DUE: SOLUTION_DUE,
    AlertKind.DRAIN_SLOWING: DRAIN_SLOWING,
    AlertKind.CLEANING_DUE: CLEANING_DUE,
    AlertKind.MANY_SKIPS: MANY_SKIPS,
    AlertKind.CLOCK_UNSURE: CLOCK_UNSURE,
    AlertKind.HISTORY_NOT_KEPT: HISTORY_NOT_KEPT,
}
"""Kinds that say the same at all times."""

TOLD = (3, 10, 30, 100, 300, 1000)
"""Times of a sensor that comes and goes after which the text says how often."""


def often(times: int) -> int:
    """The least number of times that the text speaks of."""
    return max((told for told in TOLD if told <= times), default=1)


def soon_low(when: str) -> Words:
    """when: `about Thu 25 Jun 14:05`."""
    return Words(
        f"The sump needs water {when}.",
        "Watering goes on until the float says low.",
        touch=UNPLUGGED,
        again="The plan goes on by itself.",
        refill=True,
    )


def cycle_missed(hours: float) -> Words:
    return Words(
        f"No full run for {hours:.1f} h although cycles were planned.",
        "One run is made up as soon as nothing stands in its way.",
        "Look at the plants and at the other alerts; water by hand if the media are dry.",
        UNPLUGGED,
        "Ends by itself with the next full run.",
        is_thirsty=True,
    )


def not_commissioned(missing: str) -> Words:
    """missing: `sump_low bad, tray_high good`."""
    return Words(
        f"The bed is not watered: not yet seen is {missing}.",
        "No run starts by itself.",
        "Walk through `waaler commission`, or pull the pump's plug, lift and drop each float and look at"
        " `waaler status`.",
        UNPLUGGED,
        "The plan begins by itself with the last state that is seen.",
        is_thirsty=True,
    )


def not_read(name: str) -> Words:
    return Words(
        f"{name} cannot be read.",
        f"{STOPPED[:-1]} until it reads good again.",
        "Look at this float's wire and plug.",
        UNPLUGGED,
        "Starts again by itself once it has read good for a while.",
        is_thirsty=True,
    )


def not_valid(name: str, reason: str, at_least: int) -> Words:
    often = f" It has come and gone at least {at_least} times." if at_least > 1 else ""
    return Words(
        f"{name} is not valid: {reason}.{often}",
        "The plan runs as written meanwhile.",
        "Look at the probe and its wire.",
        DRY,
        "Is believed again by itself; this ends once it has read well for an hour.",
    )


def _in_runs(times: int) -> str:
    return "the last run" if times < 2 else f"{times} runs in a row"


def low_in_runs(times: int, pulse_s: float) -> Words:
    return Words(
        f"Sump low in {_in_runs(times)}, though it read good at rest.",
        f"Each dose is now given in pulses of {pulse_s:.0f} s until a refill is entered.",
        "Look at the drain first, then at the sump.",
        UNPLUGGED,
        "Whole runs come back with `waaler refill`.",
        is_thirsty=True,
    )


def too_low(times: int, next_try: str) -> Words:
    return Words(
        f"The sump is too low for a run: in {_in_runs(times)} it fell low before water reached the plants.",
        f"The plan waits. Next try: {next_try}, or as soon as the sump is seen to be full enough.",
        touch=UNPLUGGED,
        again="Goes on by itself after `waaler refill`.",
        refill=True,
        is_thirsty=True,
    )


def no_sign(signs: str) -> Words:
    return Words(
        f"No sign of water: the last run was done, but nothing that usually shows it has moved ({signs}).",
        "The plan goes on.",
        "Pull the pump's plug, then look at plug, fuse, residual-current device, filter and intake.",
        UNPLUGGED,
        "Ends by itself with the next run that shows.",
        is_thirsty=True,
    )


def pump_weaker(l_per_min: float, normal_l_per_min: float) -> Words:
    share = 100 * l_per_min / normal_l_per_min
    return Words(
        f"The pump is weaker than it was: {l_per_min:.3g} L/min, {share:.0f} % of its usual"
        f" {normal_l_per_min:.3g} L/min, in three runs.",
        "The plan goes on as it is.",
        "Unplug the pump; clean intake, filter and line. Then run a bucket test.",
        UNPLUGGED,
        "Ends by itself with the next run of its usual flow.",
    )


def paused_long(until: str, by: str) -> Words:
    return Words(
        f"Paused until {until} by {by}, longer than the plan's longest gap.",
        "No cycle runs meanwhile.",
        "Look at the plants; `waaler resume` ends the pause.",
        UNPLUGGED,
        "It ends by itself.",
        is_thirsty=True,
    )


def outside(said: str) -> Words:
    return Words(
        f"{said}.",
        "Nothing: the tool adds no feed.",
        "Correct it, and measure again once a run has mixed it.",
        UNPLUGGED,
        "Ends with a measurement inside the range.",
    )


def not_told(channel: str, reason: str) -> Words:
    return loose(
        f"Messages have not got through by {channel} for an hour: {reason}.",
        "They wait in their order, and are tried again.",
        "Look at the server, the password and the network; `waaler alert --test` tries every channel.",
        "Ends by itself with the first message that gets through.",
    )


def loose(what: str, did: str, now: str, again: str) -> Words:
    """Something of the Pi and its program, away from pump and water."""
    return Words(what, did, now, DRY, again)
