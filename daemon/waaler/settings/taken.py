"""What becomes of an edit while the bed is kept: for every key of the file, who takes its new value and when."""

from collections.abc import Iterator
from enum import Enum

__all__ = ["TAKEN", "Taken"]


class Taken(Enum):
    """Who uses a key, and how a new value reaches it."""

    LIVE = "the daemon takes it at once"
    DAEMON = "the daemon takes it at its next start"
    NOTIFIER = "the notifier alone uses it, and takes it at once"
    COMMANDS = "nothing that runs uses it; commands read the file"


ROWS = (
    ("", Taken.DAEMON, "bed"),
    ("", Taken.LIVE, "title clock not_commissioned quiet_hours"),
    ("", Taken.NOTIFIER, "good_day metrics_file"),
    ("", Taken.COMMANDS, "away_days no_sump_float no_tray_float broken_wire_unsafe"),
    ("place", Taken.LIVE, "timezone latitude longitude"),
    ("plan[]", Taken.LIVE, "window cycles every at between water on from until fallback"),
    (
        "plan[].on_demand",
        Taken.LIVE,
        "probe below light per_light per_demand thermometer between least_gap at_most",
    ),
    ("hot_day", Taken.LIVE, "above extra_cycles"),
    (
        "sensing",
        Taken.LIVE,
        "skip_at_most hot_above extend_at_most least_share drained_after extra_after",
    ),
    ("sensing.probes[]", Taken.DAEMON, "channel converter address name"),
    ("sensing.probes[]", Taken.LIVE, "wet_above dry_below most_change"),
    ("sensing.probes[].calibration", Taken.DAEMON, "dry wet points"),
    ("sensing.thermometers[]", Taken.DAEMON, "name device"),
    ("sensing.lights[]", Taken.DAEMON, "channel converter address name full"),
    ("sensing.levels[]", Taken.DAEMON, "channel converter address name points"),
    ("sensing.currents[]", Taken.DAEMON, "channel converter address name points"),
    ("solution", Taken.LIVE, "ec ph temperature"),
    (
        "limits",
        Taken.LIVE,
        "longest_run most_per_day longest_gap rest settle_sump settle_tray run_back confirm start_delay most_starts"
        " flow_within line_drain",
    ),
    ("layout", Taken.LIVE, "pots outlet_flow line_holds media_per_pot holds drink_per_pot evaporates lift"),
    ("layout.sump", Taken.LIVE, "floor points brim full low empty"),
    ("layout.pump", Taken.LIVE, "free_flow shut_off points"),
    ("layout.hose", Taken.LIVE, "length bore fittings"),
    ("layout.line", Taken.LIVE, "bore spacing friction c water"),
    ("layout.line.legs[]", Taken.LIVE, "outlets spacing first bore fittings back"),
    ("layout.line.legs[].header", Taken.LIVE, "length bore fittings"),
    ("layout.tube", Taken.LIVE, "bore length end fittings"),
    ("layout.each[]", Taken.LIVE, "outlet bore length end opening"),
    ("layout.each[]", Taken.COMMANDS, "pot"),
    ("layout.tray", Taken.LIVE, "length width drain standing rim"),
    ("layout.pot", Taken.LIVE, "nominal filled"),
    ("layout.pot", Taken.COMMANDS, "bag"),
    ("crops[]", Taken.LIVE, "pots plants_per_pot planted canopy stages kc"),
    ("crops[]", Taken.COMMANDS, "name ec"),
    ("weather", Taken.LIVE, "csv normals elevation cover"),
    ("feed", Taken.LIVE, "ec water uptake"),
    ("top_up", Taken.LIVE, "tank holds"),
    ("pump", Taken.COMMANDS, "supply"),
    ("pins", Taken.COMMANDS, "header"),
    ("pins.relay", Taken.DAEMON, "gpio energised_by"),
    ("pins.relay", Taken.COMMANDS, "draws"),
    ("pins.cutoff_relay", Taken.DAEMON, "gpio energised_by"),
    ("pins.cutoff_relay", Taken.COMMANDS, "draws"),
    ("pins.sump_low", Taken.DAEMON, "gpio pull closed"),
    ("pins.tray_high", Taken.DAEMON, "gpio pull closed"),
    ("pins.tray_wet", Taken.DAEMON, "gpio pull"),
    ("pins.flow_meter", Taken.DAEMON, "gpio pulses_per_litre normal pull"),
    ("pins.supply_sensed", Taken.DAEMON, "gpio pull"),
    ("pins.sump_floats[]", Taken.DAEMON, "gpio at pull"),
    ("pins.status_light", Taken.DAEMON, "gpio on_by"),
    ("pins.status_light", Taken.COMMANDS, "draws"),
    ("pins.buzzer", Taken.DAEMON, "gpio on_by"),
    ("pins.buzzer", Taken.COMMANDS, "draws"),
    ("pins.button", Taken.DAEMON, "gpio pull"),
    ("contacts[]", Taken.LIVE, "name call"),
    ("contacts[]", Taken.NOTIFIER, "mail"),
    ("care", Taken.LIVE, "clean_after clean_after_starts renew_after"),
    ("card", Taken.COMMANDS, "plug shut_off by_hand"),
    (
        "mqtt",
        Taken.NOTIFIER,
        "host port user password_file ca_file certificate_file key_file commands",
    ),
    ("mqtt", Taken.COMMANDS, "plain"),
    ("mail", Taken.NOTIFIER, "host port security user password_file ca_file from least"),
    ("webhooks[]", Taken.NOTIFIER, "name url url_file least"),
    ("push", Taken.NOTIFIER, "urls_file least"),
    ("heartbeat", Taken.NOTIFIER, "url url_file every"),
)


def _spread() -> Iterator[tuple[str, Taken]]:
    for section, taken, keys in ROWS:
        for key in keys.split():
            yield f"{section}.{key}".lstrip("."), taken


TAKEN: dict[str, Taken] = dict(_spread())
"""Every key by its path in the schema. A new key needs a row; a test changes each and looks whether it is true."""
