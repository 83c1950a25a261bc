"""The whole service at a glance, for operators: nothing in it leads to a keeper or a lawn."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from statistics import median

from mowalert.service.ports import FailedMessages, Store
from mowalert.service.upkeep.status import CellState, Failure, Status, status_of

NEWEST = 100
"""Rounds and refusals that are looked at; shown are fewer."""
NEWEST_MESSAGES, MOST_REASONS = 5000, 20
PERSONAL = re.compile(
    r"""
    https?://\S+                            # an address asked for carries a position
    | \S+@\S+
    | \+\d[\d ()-]{6,}\d | \b\d{7,}\b       # phone numbers
    # Latitude, longitude: trailing zeros may be gone from either.
    | (?<![\d.])-?\d{1,3}(\.\d+,\s*-?\d{1,3}(\.\d+)?|,\s*-?\d{1,3}\.\d+)
    | (?<![\d.])-?\d{1,3}\.\d{2,}(?![\d.])  # either alone; weather has one decimal
    """,
    re.VERBOSE,
)
LONGEST_REASON = 200


@dataclass(frozen=True, slots=True)
class SourceAge:
    """How old the weather of one source's cells is."""

    source: str
    cells: int
    median_h: float
    oldest_h: float


@dataclass(frozen=True, slots=True)
class Refused:
    """Weather of one source that was not believed, for one reason: how often, and when last."""

    source: str
    reason: str
    count: int
    newest_at: datetime


@dataclass(frozen=True, slots=True)
class Overview:
    """What an operator sees; ``unserved_cells`` have no weather at all."""

    status: Status
    sources: tuple[SourceAge, ...]
    unserved_cells: int
    failed: tuple[FailedMessages, ...]
    refused: tuple[Refused, ...]
    last_failure: Failure | None


def overview_of(store: Store, *, now: datetime) -> Overview:
    """Look at the whole service, and leave out whatever could lead to a person.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    now : datetime
        The moment.

    Returns
    -------
    Overview
        Counts, ages and reasons.
    """
    status = status_of(store, now=now, latest=NEWEST)
    with store.begin() as work:
        failed = work.operators.failed_messages(among=NEWEST_MESSAGES, limit=MOST_REASONS)
    return Overview(
        status=status,
        sources=ages_by_source(status.weather),
        unserved_cells=sum(cell.age_h is None for cell in status.weather),
        failed=_alike_messages(failed),
        refused=_alike_refusals(status.refusals),
        last_failure=_named(status.last_failure),
    )


def ages_by_source(cells: Iterable[CellState]) -> tuple[SourceAge, ...]:
    """Return how old the weather of each source's cells is, by name; cells without weather are left out."""
    ages: dict[str, list[float]] = {}
    for cell in cells:
        if cell.source is not None and cell.age_h is not None:
            ages.setdefault(cell.source, []).append(cell.age_h)
    return tuple(
        SourceAge(source, len(hours), median(hours), max(hours)) for source, hours in sorted(ages.items())
    )


def without_personal(reason: str) -> str:
    """Return the first line of a reason without addresses, numbers and positions that may stand in it."""
    line = reason.strip().partition("\n")[0]
    return PERSONAL.sub("…", line)[:LONGEST_REASON]


def _named(failure: Failure | None) -> Failure | None:
    """Of an error nobody foresaw only its kind is shown: its text may hold anything; the log has it."""
    if failure is None:
        return None
    kind, _, rest = failure.reason.partition(": ")
    foreseen = not (rest and kind.isidentifier() and kind[0].isupper())
    return replace(failure, reason=without_personal(failure.reason) if foreseen else kind)


def _alike_messages(failed: Sequence[FailedMessages]) -> tuple[FailedMessages, ...]:
    """Draw together what reads the same once addresses are gone; the newest first."""
    alike: dict[tuple[str, str], FailedMessages] = {}
    for one in failed:
        reason = without_personal(one.reason)
        before = alike.get((one.channel, reason))
        count = one.count + (before.count if before else 0)
        newest_at = max(one.newest_at, before.newest_at) if before else one.newest_at
        alike[one.channel, reason] = FailedMessages(one.channel, reason, count, newest_at)
    return tuple(alike.values())


def _alike_refusals(refusals: Sequence[tuple[str, str, str]]) -> tuple[Refused, ...]:
    alike: dict[tuple[str, str], Refused] = {}
    for at, source, told in refusals:
        reason = without_personal(told)
        before = alike.get((source, reason))
        # They come newest first.
        newest_at = before.newest_at if before else datetime.fromisoformat(at)
        alike[source, reason] = Refused(source, reason, 1 + (before.count if before else 0), newest_at)
    return tuple(alike.values())
