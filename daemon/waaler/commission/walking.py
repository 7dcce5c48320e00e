"""What every step of the walk can use."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from waaler.commission.parts import Person, Site

__all__ = ["Walk"]


@dataclass(slots=True)
class Walk:
    """site: the bed. pins: each input's place on the header, in words. probes: full counts of each one's converter.

    longest_run_s, run_back_s: as the file has them. back_l: what runs back out of line and tray after a run.
    pulses_per_l: of the flow meter, None without one. answers_s: how long the guard may want to settle.
    """

    site: Site
    person: Person
    longest_run_s: float
    run_back_s: float
    answers_s: float
    back_l: float
    pins: Mapping[str, str] = field(default_factory=dict)
    probes: Mapping[str, float] = field(default_factory=dict)
    has_cutoff: bool = False
    pulses_per_l: float | None = None
