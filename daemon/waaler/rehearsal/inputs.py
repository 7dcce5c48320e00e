"""One protective input as a judge sees it: when must it act, when may it be trusted again."""

from dataclasses import dataclass
from math import inf

__all__ = ["Seen"]

HAIR_S = 1e-6


@dataclass(slots=True)
class Seen:
    """level None: not read since the boot or a stall. need_s: the good time it owes before a start, None if none;
    may_need_s: the same at the most: where the instant at which it would act and a new reading fall together, and
    where a limit was eased since it acted.

    bad_since_s: the first bad reading that no good time of `confirm` has outlived: a chatter counts as bad.
    """

    level: str | None = None
    since_s: float = 0.0
    good_since_s: float | None = None
    bad_since_s: float | None = None
    need_s: float | None = None
    may_need_s: float = 0.0

    def show(self, at_s: float, level: str, confirm_s: float) -> None:
        if level == self.level:
            return
        if self.level == "good" and at_s - self.since_s >= confirm_s:
            self.bad_since_s = None
        self.level, self.since_s = level, at_s
        self.good_since_s = at_s if level == "good" else None
        if level == "bad" and self.bad_since_s is None:
            self.bad_since_s = at_s

    def acts_s(self, confirm_s: float) -> float | None:
        """When what it shows now must act; None if it need not."""
        if self.level == "not read":
            return self.since_s
        if self.level == "bad" and self.bad_since_s is not None:
            return max(self.bad_since_s + confirm_s, self.since_s)
        return None

    def look(self, at_s: float, confirm_s: float, settle_s: float) -> None:
        """What the time up to now makes of it."""
        acts_s = self.acts_s(confirm_s)
        if acts_s is not None and at_s >= acts_s - HAIR_S:
            self.may_need_s = max(self.may_need_s, settle_s)
        if acts_s is not None and at_s > acts_s + HAIR_S:
            self.need_s = settle_s
        elif self.need_s is not None and self.good_since_s is not None and at_s - self.good_since_s >= self.need_s:
            self.need_s = None
        if self.good_since_s is not None and at_s - self.good_since_s >= self.may_need_s + 1.0:
            self.may_need_s = 0.0

    def was_not_read(self, settle_s: float) -> None:
        """Nobody read it for too long: it has acted, and begins anew with the next reading."""
        self.level, self.good_since_s, self.need_s = None, None, settle_s

    def ready_s(self, confirm_s: float, is_fair: bool = False) -> float:
        """When it lets a run start if it stays as it is; inf if it does not read good. is_fair: at the latest."""
        if self.level != "good" or self.good_since_s is None:
            return inf
        need_s = max(self.need_s or 0.0, 0.0 if self.bad_since_s is None else confirm_s)
        return self.good_since_s + (max(need_s, self.may_need_s) if is_fair else need_s)
