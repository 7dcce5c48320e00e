"""What is foreseen of the sump now, for whoever asks without a step of the decisions."""

from waaler.bed.ledger import Outlook
from waaler.core.state import State
from waaler.core.sump_state import outlook_at
from waaler.guard.messages import Instant

__all__ = ["expected"]


def expected(state: State, at: Instant) -> Outlook | None:
    """None where nothing is known of the sump."""
    book, sump = state.setup.care.book, state.water.sump
    if book is None or sump is None:
        return None
    return outlook_at(book, sump, state.setup.plan.place.timezone, at)
