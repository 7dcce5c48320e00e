"""What is known without records, as facts for new ones: alerts that stand, the sump, the wear of the pump."""

from waaler.core.facts import AlertRaised, Fact, SumpNoted, WearNoted
from waaler.core.state import State
from waaler.core.words import compose
from waaler.guard.messages import Instant

__all__ = ["retold"]


def retold(state: State, at: Instant) -> list[Fact]:
    """The facts of the present, each with the instant since when it is true."""
    found: list[Fact] = [
        AlertRaised(
            _earlier(at, one.raised_s),
            name,
            one.severity,
            compose(state, one.alert, one.raised_s),
            one.alert.about,
            bool(one.says_refill),
        )
        for name, one in state.alerts.standing.items()
    ]
    sump = state.water.sump
    if sump is not None:
        ages_s = (sump.at_s - sump.weighed_s, sump.at_s - sump.renewed_s)
        found.append(
            SumpNoted(_earlier(at, sump.at_s), sump.entry, sump.weighed_l, *ages_s, sump.first_ec, sump.last_ec)
        )
    return [*found, WearNoted(at, state.wear)]


def _earlier(at: Instant, long_s: float) -> Instant:
    return Instant(long_s, at.wall_s - (at.long_s - long_s), at.is_sure)
