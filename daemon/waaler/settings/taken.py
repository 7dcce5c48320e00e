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


ROWS = """
DAEMON    -                            bed
LIVE      -                            title clock not_commissioned quiet_hours
NOTIFIER  -                            good_day metrics_file
COMMANDS  -                            away_days no_sump_float no_tray_float broken_wire_unsafe
LIVE      place                        timezone latitude longitude
LIVE      plan[]                       window cycles every at between water on from until fallback
LIVE      plan[].on_demand             probe below light per_light per_demand thermometer between least_gap
LIVE      plan[].on_demand             at_most
LIVE      hot_day                      above extra_cycles
LIVE      sensing                      skip_at_most hot_above extend_at_most least_share drained_after
LIVE      sensing                      extra_after
DAEMON    sensing.probes[]             channel converter address name
LIVE      sensing.probes[]             wet_above dry_below most_change
DAEMON    sensing.probes[].calibration dry wet points
DAEMON    sensing.thermometers[]       name device
DAEMON    sensing.lights[]             channel converter address name full
DAEMON    sensing.levels[]             channel converter address name points
DAEMON    sensing.currents[]           channel converter address name points
LIVE      solution                     ec ph temperature
LIVE      limits                       longest_run most_per_day longest_gap rest settle_sump settle_tray
LIVE      limits                       run_back confirm start_delay most_starts flow_within line_drain
LIVE      layout                       pots outlet_flow line_holds drink_per_pot evaporates
LIVE      layout                       lift
LIVE      layout.sump                  floor points brim full low empty
LIVE      layout.pump                  free_flow shut_off points
LIVE      layout.hose                  length bore fittings
LIVE      layout.line                  bore spacing friction c water
LIVE      layout.line.legs[]           outlets spacing first bore fittings back
LIVE      layout.line.legs[].header    length bore fittings
LIVE      layout.tube                  bore length end fittings
LIVE      layout.each[]                outlet bore length end opening
COMMANDS  layout.each[]                pot
LIVE      layout.tray                  length width drain standing rim
LIVE      media[]                      points
COMMANDS  media[]                      name
LIVE      pots[]                       count nominal height width filled medium drained droops crop
LIVE      pots[]                       plants_per_pot outlets
COMMANDS  pots[]                       bag
LIVE      crops[]                      planted canopy transplant ground height stages kc ec
COMMANDS  crops[]                      name
LIVE      -                            shelter
LIVE      weather                      csv normals elevation transmission
LIVE      feed                         ec water uptake
LIVE      top_up                       tank holds
COMMANDS  pump                         supply
COMMANDS  pins                         header
DAEMON    pins.relay                   gpio energised_by
COMMANDS  pins.relay                   draws
DAEMON    pins.cutoff_relay            gpio energised_by
COMMANDS  pins.cutoff_relay            draws
DAEMON    pins.sump_low                gpio pull closed
DAEMON    pins.tray_high               gpio pull closed
DAEMON    pins.tray_wet                gpio pull
DAEMON    pins.flow_meter              gpio pulses_per_litre normal pull
DAEMON    pins.supply_sensed           gpio pull
DAEMON    pins.sump_floats[]           gpio at pull
DAEMON    pins.status_light            gpio on_by
COMMANDS  pins.status_light            draws
DAEMON    pins.buzzer                  gpio on_by
COMMANDS  pins.buzzer                  draws
DAEMON    pins.button                  gpio pull
LIVE      contacts[]                   name call
NOTIFIER  contacts[]                   mail
LIVE      care                         clean_after clean_after_starts renew_after
COMMANDS  card                         plug shut_off by_hand
NOTIFIER  mqtt                         host port user password_file ca_file certificate_file key_file commands
COMMANDS  mqtt                         plain
NOTIFIER  mail                         host port security user password_file ca_file from least
NOTIFIER  webhooks[]                   name url url_file least
NOTIFIER  push                         urls_file least
NOTIFIER  heartbeat                    url url_file every
"""
"""Who takes a key, its section (- for the file itself), and the keys."""


def _spread() -> Iterator[tuple[str, Taken]]:
    for row in ROWS.strip().splitlines():
        taken, section, *keys = row.split()
        for key in keys:
            yield key if section == "-" else f"{section}.{key}", Taken[taken]


TAKEN: dict[str, Taken] = dict(_spread())
"""Every key by its path in the schema. A new key needs a row; a test changes each and looks whether it is true."""
