"""The closed sets that the guard speaks of; each value is its word in files, records, messages and pages."""

from enum import StrEnum

__all__ = ["Contact", "Hindrance", "HoldKind", "Input", "Level", "Purse", "Trip"]


class Input(StrEnum):
    """A protective input; its value is the key of the settings and of the history."""

    SUMP_LOW = "sump_low"
    TRAY_HIGH = "tray_high"


class Level(StrEnum):
    """What a protective input reads. A broken wire must read as BAD or NOT_READ."""

    GOOD = "good"
    BAD = "bad"
    NOT_READ = "not read"


class Contact(StrEnum):
    """Two relays in series feed the pump where a cut-off relay is fitted."""

    MAIN = "the main relay"
    CUTOFF = "the cut-off relay"


class Purse(StrEnum):
    """Which allowance of pump time a run draws on."""

    PLAN = "plan"
    SPARE = "spare"
    """Extra, on-demand, catch-up and hand runs: what the plan's next 24 h leave free."""
    SOAK = "soak"
    ATTENDED = "attended"


class Trip(StrEnum):
    """Why the guard cuts and refuses."""

    LOW_SUMP = "low sump"
    HIGH_TRAY = "high tray"
    NOT_READ = "input not read"
    OVERRUN = "overrun"
    NO_FLOW = "no flow"
    FLOW_WHILE_OFF = "flow while off"


class HoldKind(StrEnum):
    """What a person asked for that keeps other runs away until it ends. The first forbids most."""

    SERVICE = "service"
    PAUSE = "pause"
    ATTENDED = "attended"
    SOAK = "soak"


class Hindrance(StrEnum):
    """What keeps a run away."""

    ORDER = "order"
    """The ask itself: too old, made before, taken back by a person's stop, or of no length."""
    HOLD = "hold"
    RUN = "another run"
    LOCK = "lock"
    TRIP = "trip"
    INPUT = "input"
    """A protective input that has not tripped and is not trusted yet."""
    REST = "rest"
    ALLOWANCE = "allowance"
    TOO_LOW = "sump too low for a run"
    """What only the decisions know: the last run gave the plants nothing."""
    COMMISSIONING = "commissioning"
    """What only the decisions know: the floats of a new bed were not seen in both states."""
