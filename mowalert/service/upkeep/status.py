"""How the service does: what is enrolled, how old the weather is, and what became of messages."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from types import MappingProxyType

from mowalert.service.failures import LAST_FAILURE
from mowalert.service.nights.night import LAST_NIGHT, is_overdue, last_night
from mowalert.service.ports import Store, Work
from mowalert.service.ports_tallies import Totals

NO_LIMITS: Mapping[str, float] = MappingProxyType({})
EVERY_MIN = "scheduler_every_min"
"""Name under which the store keeps how often the scheduler runs."""
NEARLY = 0.95
"""Requests come in batches: of a budget that is this far spent, what is left may be too little for one."""
UNSCHEDULED_MIN = 12 * 60
"""Span taken where nights are started by hand or by a timer of the system: usually a day."""


@dataclass(frozen=True, slots=True)
class RoundLog:
    """One round as it was run or skipped."""

    round_id: int
    local_date: date
    at: datetime
    outcome: str
    digests: int


@dataclass(frozen=True, slots=True)
class CellState:
    """One weather cell's freshness."""

    cell_id: int
    source: str | None
    age_h: float | None


@dataclass(frozen=True, slots=True)
class CallState:
    """Calls made of a source on this UTC day, and how many may be; none where it counts no days."""

    source: str
    calls: float
    most: float | None

    @property
    def spent(self) -> bool:
        """Whether hardly another request can be made."""
        return self.most is not None and self.calls >= NEARLY * self.most


@dataclass(frozen=True, slots=True)
class Failure:
    """The newest tick of the scheduler, or part of a night, that failed, and why."""

    at: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class NightStatus:
    """The newest night: its shards by state, the most tries of one, and what all did and took by step."""

    night_id: int
    at: datetime
    state: str
    shards: Mapping[str, int]
    most_tries: int
    seconds: Mapping[str, float]
    work: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Status:
    """Everything an operator asks first.

    ``overdue`` is true where nights have stopped: the newest is older than three of the scheduler's
    spans, or than a day and a half where no scheduler runs.
    """

    counts: Mapping[str, int]
    last_night_at: str | None
    last_night_age_h: float | None
    overdue: bool
    scheduler_every_min: float | None
    last_failure: Failure | None
    weather: tuple[CellState, ...]
    outbox: Mapping[str, int]
    rounds: tuple[RoundLog, ...]
    refusals: tuple[tuple[str, str, str], ...]
    calls: tuple[CallState, ...]
    totals: Totals
    oldest_due_min: float | None
    night: NightStatus | None = None


def status_of(
    store: Store, *, now: datetime, latest: int = 10, daily_calls: Mapping[str, float] = NO_LIMITS
) -> Status:
    """Look at the whole service; ``daily_calls`` are the calls a day that each source allows."""
    last_at = last_night(store)
    with store.begin() as work:
        last = work.get_meta(LAST_NIGHT)
        every_min = float(work.get_meta(EVERY_MIN) or 0) or None
        cells, due = work.weather.cells(), work.outbox.oldest_due(now=now)
        return Status(
            counts=work.lawns.counts(),
            last_night_at=last,
            last_night_age_h=None if last_at is None else _hours(now, last_at),
            overdue=is_overdue(last_at, now=now, every=timedelta(minutes=every_min or UNSCHEDULED_MIN)),
            scheduler_every_min=every_min,
            last_failure=_failure(work.get_meta(LAST_FAILURE)),
            weather=tuple(
                CellState(
                    cell.cell_id,
                    cell.source,
                    None if cell.fetched_at is None else _hours(now, cell.fetched_at),
                )
                for cell in cells
            ),
            outbox=work.outbox.states(),
            rounds=tuple(RoundLog(*row) for row in work.rounds.last_log(latest)),
            refusals=tuple(
                (at.isoformat(), source, reason) for _, source, _, reason, at in work.weather.refusals(latest)
            ),
            calls=tuple(
                CallState(source, calls, daily_calls.get(source))
                for source, calls in sorted(work.weather.spent(now.date()).items())
            ),
            totals=work.tallies.all(),
            oldest_due_min=None if due is None else round((now - due).total_seconds() / 60, 1),
            night=_newest_night(work),
        )


def _newest_night(work: Work) -> NightStatus | None:
    night = work.nights.newest()
    if night is None:
        return None
    shards = work.nights.shards(night.night_id)
    seconds: Counter[str] = Counter()
    done: Counter[str] = Counter()
    for shard in shards:
        seconds.update(shard.report.get("seconds", {}))
        done.update({what: count for what, count in shard.report.items() if what != "seconds"})
    return NightStatus(
        night.night_id,
        night.at,
        night.state.value,
        Counter(shard.state.value for shard in shards),
        max(shard.tries for shard in shards),
        {step: round(taken, 3) for step, taken in seconds.items()},
        dict(done),
    )


def note_scheduler(store: Store, every_min: float | None) -> None:
    """Remember that the scheduler runs, and how often; none once it has stopped by itself."""
    with store.begin() as work:
        work.set_meta(EVERY_MIN, str(every_min or 0))
        work.commit()


def _failure(kept: str | None) -> Failure | None:
    if kept is None:
        return None
    at, _, reason = kept.partition(" ")
    return Failure(datetime.fromisoformat(at), reason)


def _hours(now: datetime, then: datetime) -> float:
    return round((now - then).total_seconds() / 3600, 2)
