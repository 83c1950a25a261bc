"""How the service does: what is enrolled, how old the weather is, and what became of messages."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from mowalert.service.ports import Store


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
class Status:
    """Everything an operator asks first."""

    counts: Mapping[str, int]
    last_night_at: str | None
    last_night_age_h: float | None
    weather: tuple[CellState, ...]
    outbox: Mapping[str, int]
    rounds: tuple[RoundLog, ...]
    refusals: tuple[tuple[str, str, str], ...]


def status_of(store: Store, *, now: datetime, latest: int = 10) -> Status:
    """Look at the whole service."""
    with store.begin() as work:
        last = work.get_meta("last_night_at")
        cells = work.weather.cells()
        return Status(
            counts=work.lawns.counts(),
            last_night_at=last,
            last_night_age_h=None if last is None else _hours(now, datetime.fromisoformat(last)),
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
        )


def _hours(now: datetime, then: datetime) -> float:
    return round((now - then).total_seconds() / 3600, 2)
