"""What texts and forecasts know of the bed and its people, beside plan and limits."""

from dataclasses import dataclass

from waaler.bed.ledger import SumpBook

__all__ = ["Care", "Contact", "Quiet"]


@dataclass(frozen=True, slots=True)
class Contact:
    """Somebody to call. call: a number or a word such as `lives next door`, as people read it."""

    name: str
    call: str

    @property
    def words(self) -> str:
        return f"{self.name}, {self.call}" if self.call else self.name


@dataclass(frozen=True, slots=True)
class Quiet:
    """Hours in which only what is urgent is told, minutes after midnight by the bed's wall clock."""

    starts_min: int
    ends_min: int

    def wait_s(self, minute: float) -> float:
        """From this minute of the day until they end, in seconds; 0 outside of them."""
        length_min = (self.ends_min - self.starts_min) % 1440
        into_min = (minute - self.starts_min) % 1440
        return 60 * (length_min - into_min) if into_min < length_min else 0.0


@dataclass(frozen=True, slots=True)
class Care:
    """book: what the sump's ledger reckons by; None: nothing is foreseen.

    contacts: whom to call, the first one first. quiet: None for never.
    clean_after_s, clean_after_starts: pump time and starts after which pump and filter are due for cleaning.
    renew_after_days: of the solution. Defaults: common practice, no source.
    """

    book: SumpBook | None = None
    contacts: tuple[Contact, ...] = ()
    quiet: Quiet | None = None
    clean_after_s: float = 30 * 3600.0
    clean_after_starts: int = 500
    renew_after_days: float = 21.0
