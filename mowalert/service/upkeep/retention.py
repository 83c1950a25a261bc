"""Forget what nobody asks for any more, a few thousand rows a transaction.

A message that has not met its end is never forgotten, however old. Lawns, their cuts, guides, holds of turf
classes and restrictions are kept for good: they are few, and the past is explained by them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from mowalert.service.ports import Store
from mowalert.service.ports_past import Old

LAST_TIDY = "last_tidy_on"
"""Name under which the store keeps the day everything old was forgotten."""
ROWS_AT_ONCE = 5000
MOST_ROWS = 200_000
"""Of one run: the rest goes with the next tick, so that no night waits for long."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """Rows forgotten, or that would be, and whether nothing old is left."""

    rows: Mapping[Old, int]
    whole: bool


def forget_old(
    store: Store,
    days: Mapping[Old, int],
    *,
    now: datetime,
    most: int = MOST_ROWS,
    at_once: int = ROWS_AT_ONCE,
) -> Forgotten:
    """Forget old rows, up to a number.

    Parameters
    ----------
    store : Store
        Where they are.
    days : Mapping[Old, int]
        How long each is kept; what is not named is kept for good.
    now : datetime
        The moment.
    most : int
        Rows to forget at most, some thousand more or less.
    at_once : int
        Rows a transaction looks at.

    Returns
    -------
    Forgotten
        How many.
    """
    rows = dict.fromkeys(days, 0)
    for what, kept_days in days.items():
        before, after = now.date() - timedelta(days=kept_days), 0
        while True:
            with store.begin() as work:
                gone, next_after = work.past.forget(what, before=before, after=after, limit=at_once)
                work.commit()
            rows[what] += gone
            if next_after is None:
                break
            if sum(rows.values()) >= most:
                return Forgotten(rows, whole=False)
            after = next_after
    return Forgotten(rows, whole=True)


def old_rows(store: Store, days: Mapping[Old, int], *, now: datetime) -> Forgotten:
    """Count what would be forgotten."""
    with store.begin() as work:
        rows = {
            what: work.past.old(what, before=now.date() - timedelta(days=kept)) for what, kept in days.items()
        }
    return Forgotten(rows, whole=False)


def forget_daily(store: Store, days: Mapping[Old, int], *, now: datetime) -> Forgotten | None:
    """Forget old rows once a day; none where that is done today."""
    with store.begin() as work:
        if work.get_meta(LAST_TIDY) == now.date().isoformat():
            return None
    forgotten = forget_old(store, days, now=now)
    if forgotten.whole:
        with store.begin() as work:
            work.set_meta(LAST_TIDY, now.date().isoformat())
            work.commit()
    return forgotten
