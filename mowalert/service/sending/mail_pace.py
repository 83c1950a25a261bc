"""How fast mails go to one domain: as fast as its servers take them; the rest waits in the outbox."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from math import inf

BURST_MIN = 10.0
"""A delivery may send what these minutes allow: the scheduler comes every ten."""
SLOWED_AFTER = 3
"""So many failures that may pass, one after another, slow a domain down; fewer say nothing of it."""
SLOWED_PER_MIN, SLOWEST_PER_MIN = 120.0, 30.0
"""Not slower: a server that greylists refuses every address once, and advice goes stale."""


@dataclass(slots=True)
class _Domain:
    """What may go to a domain: so many mails a minute, and how many of them now."""

    per_min: float
    free: float
    as_of: datetime
    waiting: int = 0
    refused: int = 0


class MailPace:
    """Keeps count of mails by domain, in one process.

    Parameters
    ----------
    per_min : float
        Mails a minute and domain at most, on an average of ten minutes; 0 for no limit.
    """

    def __init__(self, per_min: float = 0.0) -> None:
        self._usual_per_min = per_min or inf
        self._domains: dict[str, _Domain] = {}

    def turn(self, address: str, *, now: datetime) -> datetime:
        """When a mail may go: now, which takes a turn, or at a moment to come."""
        domain = self._domain(address, now)
        if domain.free >= 1:
            domain.free -= 1
            return now
        domain.waiting += 1
        return now + timedelta(minutes=domain.waiting / domain.per_min)

    def taken(self, address: str, *, now: datetime) -> None:
        """Remember that a mail was taken: a domain that was slowed down may have twice as many again."""
        domain = self._domain(address, now)
        domain.refused = 0
        if domain.per_min < self._usual_per_min:
            faster = domain.per_min * 2
            domain.per_min = faster if faster < self._most_when_slowed else self._usual_per_min

    def refused(self, address: str, *, now: datetime) -> None:
        """Remember that a mail was not taken for now: several such, and the domain gets half as many."""
        domain = self._domain(address, now)
        domain.refused += 1
        if domain.refused >= SLOWED_AFTER:
            slower = min(domain.per_min / 2, self._most_when_slowed)
            domain.per_min, domain.free = max(slower, SLOWEST_PER_MIN), 0.0

    @property
    def _most_when_slowed(self) -> float:
        return min(self._usual_per_min, SLOWED_PER_MIN)

    def _domain(self, address: str, now: datetime) -> _Domain:
        name = address.rpartition("@")[2].rstrip("> ").casefold()
        usual = self._usual_per_min
        domain = self._domains.setdefault(name, _Domain(usual, usual * BURST_MIN, now))
        if now > domain.as_of:
            gone_min = (now - domain.as_of) / timedelta(minutes=1)
            domain.free = min(domain.free + gone_min * domain.per_min, domain.per_min * BURST_MIN)
            domain.as_of, domain.waiting = now, 0
        return domain
