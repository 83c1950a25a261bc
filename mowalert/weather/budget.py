"""What may still be asked of a source: a bucket for each short span, and a count for the UTC day.

Every process of a service asks from the same address, so that all of them draw from the same buckets, in the
store. A bucket holds half of what its span allows and fills with the other half in that span: in no span,
wherever it begins, is more asked than allowed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from math import inf
from time import sleep
from typing import Protocol

from mowalert.service.ports import CallBucket, Store

MINUTE_S, HOUR_S = 60, 3600


@dataclass(frozen=True, slots=True)
class Limits:
    """Calls a source allows, each span by itself."""

    minute: float = inf
    hour: float = inf
    day: float = inf

    @property
    def most(self) -> float:
        """Calls of the largest request that can ever be made."""
        return min(self.minute / 2, self.hour / 2, self.day)


class Budget(Protocol):
    """Calls of all sources."""

    def most(self, source: str) -> float:
        """Calls of the largest request that can ever be made."""

    def take(self, source: str, calls: float, *, keep: float = 0.0) -> str | None:
        """Count calls, and return once they may be made; or say why they may not.

        ``keep`` is the share of a day's calls that others need, evenly through the day.
        """


class SharedBudget:
    """The budget of every process that works on a store.

    Parameters
    ----------
    store : Store
        Where calls are counted.
    limits : Mapping[str, Limits]
        By source; sources not named are free.
    clock : Callable[[], datetime]
        Tells the moment. A night may be of another one; calls are made now.
    wait : Callable[[float], None]
        Waits so many seconds.
    longest_wait_s : float
        Whoever would have to wait longer asks the next source.
    """

    def __init__(
        self,
        store: Store,
        limits: Mapping[str, Limits],
        *,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        wait: Callable[[float], None] = sleep,
        longest_wait_s: float = 120.0,
    ) -> None:
        self._store, self._limits, self._clock, self._wait = store, limits, clock, wait
        self._longest_wait_s = longest_wait_s

    def most(self, source: str) -> float:
        """Calls of the largest request that can ever be made."""
        return self._limits.get(source, Limits()).most

    def take(self, source: str, calls: float, *, keep: float = 0.0) -> str | None:
        """Count calls, and return once they may be made; or say why they may not.

        Parameters
        ----------
        source : str
            Its name.
        calls : float
            How many.
        keep : float
            Share of a day's calls that others need, evenly through the day: by the evening little of it.

        Returns
        -------
        str | None
            What is spent; none where the calls may be made.
        """
        limits = self._limits.get(source)
        if limits is None:
            return None
        now, waits_s = self._clock(), [0.0]
        with self._store.begin() as work:
            for span_s, limit, name in ((HOUR_S, limits.hour, "hour"), (MINUTE_S, limits.minute, "minute")):
                if limit == inf:
                    continue
                bucket = work.weather.hold_bucket(source, span_s, full=limit / 2, at=now)
                after, wait_s = drawn(bucket, calls, span_s=span_s, limit=limit, now=now)
                if wait_s > self._longest_wait_s:
                    return f"the {name}'s budget of calls is spent"
                work.weather.keep_bucket(source, span_s, after)
                waits_s.append(wait_s)
            if not work.weather.spend(
                source, now.date(), calls, most=(1 - keep * _left_of_day(now)) * limits.day
            ):
                return "the day's budget of calls is spent"
            work.commit()
        if max(waits_s) > 0:
            self._wait(max(waits_s))
        return None


def _left_of_day(now: datetime) -> float:
    midnight = datetime.combine(now.date(), time(), UTC) + timedelta(days=1)
    return (midnight - now) / timedelta(days=1)


def drawn(
    bucket: CallBucket, calls: float, *, span_s: float, limit: float, now: datetime
) -> tuple[CallBucket, float]:
    """Draw calls from a bucket, on credit if need be.

    Parameters
    ----------
    bucket : CallBucket
        As it was left.
    calls : float
        How many.
    span_s : float
        Span of the limit. [s]
    limit : float
        Calls a span.
    now : datetime
        The moment.

    Returns
    -------
    tuple[CallBucket, float]
        The bucket afterwards, and how long to wait until it has filled up for these calls. [s]
    """
    filled_s = max(0.0, (now - bucket.at).total_seconds())
    left = min(limit / 2, bucket.left + filled_s * limit / 2 / span_s) - calls
    # A clock that steps back must not fill the same seconds twice.
    return CallBucket(left, max(now, bucket.at)), max(0.0, -left) * span_s * 2 / limit
