"""The pots along the line, each as it stands: the water in its media, what its outlets give, what grows in it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise

from waaler.bed.crops import Crop

__all__ = ["Pot", "alike", "by_pot", "crops_of", "named", "seats"]


@dataclass(frozen=True, slots=True)
class Pot:
    """One pot; litres of water in its media, at three marks.

    Defaults: a pot of 5 gal, 93 % full of coarse perlite; see `media`.

    capacity_l: once drained. dry_l: when what is easily available is used. wilting_l: when its plants wilt.
    outlets: how many stand in it. flow_l_per_min: of all of them while the pump runs. drink_l_per_day: on an
    ordinary day, where no crop is written. crop: None where none is; plants: of it in this pot.
    """

    capacity_l: float = 5.32
    dry_l: float = 3.89
    wilting_l: float = 3.41
    outlets: int = 1
    flow_l_per_min: float = 0.9
    drink_l_per_day: float = 1.2
    crop: Crop | None = None
    plants: float = 1.0

    @property
    def easy_l(self) -> float:
        """What may go between two cycles."""
        return self.capacity_l - self.dry_l


def alike(count: int, pot: Pot) -> tuple[Pot, ...]:
    """So many of the same."""
    return (pot,) * count


def crops_of(pots: Iterable[Pot]) -> tuple[Crop, ...]:
    """Each crop once, in the order of the pots."""
    return tuple(dict.fromkeys(pot.crop for pot in pots if pot.crop is not None))


def seats(pots: Iterable[Pot]) -> tuple[int, ...]:
    """For each outlet, in the order along the line, the number of its pot, from 0."""
    return tuple(n for n, pot in enumerate(pots) for _ in range(pot.outlets))


def by_pot(pots: Iterable[Pot], outlets: Iterable[float]) -> tuple[float, ...]:
    """What the outlets of each pot give together. outlets: what each gives, in the order along the line."""
    rest = iter(outlets)
    return tuple(sum(islice(rest, pot.outlets)) for pot in pots)


def named(pots: Sequence[Pot], numbers: Iterable[int]) -> str:
    """Some of the pots as people call them: `pots 1 to 3 (tomato) and pot 9 (beans)`. numbers: from 0."""
    words = [_run_named(pots, first, last) for first, last in _runs(pots, sorted(numbers))]
    return " and ".join(words) if len(words) < 3 else f"{', '.join(words[:-1])} and {words[-1]}"


def _runs(pots: Sequence[Pot], numbers: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Neighbours of one crop: the first and the last of each row of them."""
    if not numbers:
        return
    first = numbers[0]
    for before, after in pairwise(numbers):
        if after != before + 1 or pots[after].crop != pots[before].crop:
            yield first, before
            first = after
    yield first, numbers[-1]


def _run_named(pots: Sequence[Pot], first: int, last: int) -> str:
    crop = pots[first].crop
    what = "" if crop is None else f" ({crop.name})"
    return f"pot {first + 1}{what}" if first == last else f"pots {first + 1} to {last + 1}{what}"
