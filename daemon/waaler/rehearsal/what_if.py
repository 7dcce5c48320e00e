"""Other values for the plan, each rehearsed on the same bed through the same weather, and ranked."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product

from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene
from waaler.rehearsal.staging import with_plan_of
from waaler.settings.settings import Settings, varied

__all__ = ["MOST_TRIES", "Tried", "combinations", "try_all"]

MOST_TRIES = 200
SUMP_LOW = "sump low"


@dataclass(frozen=True, slots=True)
class Tried:
    """changes: what was written instead. found: what came of it."""

    changes: tuple[tuple[str, str], ...]
    found: Findings

    @property
    def is_sound(self) -> bool:
        """No plant wilted, and nothing but a low sump cut a run: that one is for whoever fills it."""
        return not self.found.does_starve and all(reason == SUMP_LOW for _, reason in self.found.trips)

    @property
    def rank(self) -> tuple[bool, float, float]:
        """Sound ones first, the least water first; then the ones that are less dry."""
        return (not self.is_sound, self.found.wilted_h, self.found.lifted_l)


def combinations(choices: Mapping[str, Sequence[str]]) -> Iterator[tuple[tuple[str, str], ...]]:
    """Every choice of one value for each key."""
    keys = list(choices)
    return (tuple(zip(keys, values, strict=True)) for values in product(*choices.values()))


def try_all(
    settings: Settings,
    scene: Scene,
    choices: Mapping[str, Sequence[str]],
    progress: Callable[[int], object] | None = None,
) -> list[Tried]:
    """All of them over all cores, best first. Raises SettingsError before anything is played."""
    every = list(combinations(choices))
    others = [varied(settings, dict(changes)) for changes in every]
    scenes = [with_plan_of(scene, other) for other in others]
    tried: list[Tried] = []
    with ProcessPoolExecutor() as pool:
        for changes, found in zip(every, pool.map(_play, scenes), strict=True):
            tried.append(Tried(changes, found))
            if progress is not None:
                progress(len(tried))
    return sorted(tried, key=lambda one: one.rank)


def _play(scene: Scene) -> Findings:
    return Play(scene).run()
