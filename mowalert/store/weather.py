"""Weather cells and their days in the store."""

from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import date, datetime, timedelta
from struct import Struct
from typing import Any

import numpy as np
from sqlalchemy import Connection, exists, func, insert, null, select, update

from mowalert.domain.arrays import Floats
from mowalert.domain.stand import StandWeather
from mowalert.domain.weather import DayHours, Ensemble, Place, PlaceWeather, Refusal, WeatherDay
from mowalert.service.ports import CallBucket
from mowalert.service.ports_nights import Cells
from mowalert.service.records import CellRecord
from mowalert.store.bulk import insert_missing, update_all, upsert
from mowalert.store.sql import among, chunks, insert_for, look_up
from mowalert.store.tables import bucket, budget, cell, cell_day, cell_ensemble, lawn, refusal, stand

DAY_COLUMNS = (
    "t_min_c",
    "t_max_c",
    "rain_mm",
    "radiation_mj_m2",
    "wind_2m_ms",
    "t_dew_c",
    "et0_mm",
    "source",
    "partial",
)
DAY = select(cell_day.c.cell_id, *(cell_day.c[name] for name in WeatherDay.__dataclass_fields__))
"""Days, after their cell what they know in the order of ``WeatherDay``."""
OF_HOURS = Struct("<72f")
"""A day's hours as the store keeps them: temperature, humidity, rain."""
HOURS = list(WeatherDay.__dataclass_fields__).index("hours")
QUANTITIES = tuple(field.name for field in fields(StandWeather) if field.name != "first_on")
GROWING = select(cell_day.c.cell_id, cell_day.c.on, *(cell_day.c[name] for name in QUANTITIES))
DAY_ALONE = DAY.with_only_columns(
    *(null().label("hours") if column.name == "hours" else column for column in DAY.selected_columns)
)
"""Days without their hours, which are most of what there is to read."""


class SqlWeather:
    """Cells, their days, what was refused and what was spent.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def ensure_cell(self, latitude_deg: float, longitude_deg: float, utc_offset_min: int) -> int:
        """Return the id of a cell with this middle, making it if needed."""
        wanted = {
            "latitude_deg": latitude_deg,
            "longitude_deg": longitude_deg,
            "utc_offset_min": utc_offset_min,
        }
        query = select(cell.c.cell_id).filter_by(**wanted)
        found = self._connection.scalar(query)
        if found is None:
            self._connection.execute(
                insert_for(self._connection, cell).values(**wanted).on_conflict_do_nothing()
            )
            found = self._connection.scalar(query)
        return int(found or 0)

    def cells(self, cell_ids: Sequence[int] | None = None) -> list[CellRecord]:
        """Cells that hold lawns, or those asked for, in order of id."""
        if cell_ids is not None:
            rows = look_up(self._connection, select(cell), cell.c.cell_id, cell_ids)
            return sorted((CellRecord(**row._mapping) for row in rows), key=lambda record: record.cell_id)
        query = select(cell).where(_used()).order_by(cell.c.cell_id)
        return [CellRecord(**row) for row in self._connection.execute(query).mappings()]

    def count(self) -> int:
        """How many cells there are."""
        return int(self._connection.scalar(select(func.count()).select_from(cell)) or 0)

    def used_ids(self, within: Cells) -> list[int]:
        """Ids of cells of a span that hold lawns, in order."""
        query = select(cell.c.cell_id).where(cell.c.cell_id.between(*within), _used())
        return list(self._connection.scalars(query.order_by(cell.c.cell_id)))

    def save(self, weather: Iterable[PlaceWeather]) -> None:
        """Keep days and what the cell was told, newer over older; a partial day never over a whole one."""
        answers = list(weather)
        days = [(day.partial, _day_row(answer, day)) for answer in answers for day in answer.days]
        upsert(self._connection, cell_day, [row for partial, row in days if not partial])
        self._add_missing([row for partial, row in days if partial])
        told = [
            {"cell_id": one.place.cell_id, "fetched_at": one.fetched_at, "source": one.source}
            for one in answers
        ]
        update_all(self._connection, cell, told)
        high = [one for one in answers if one.elevation_m is not None]
        heights = [{"cell_id": one.place.cell_id, "elevation_m": one.elevation_m} for one in high]
        update_all(self._connection, cell, heights)

    def save_history(self, weather: Iterable[PlaceWeather], *, asked: Sequence[int], on: date) -> None:
        """Keep past days where none are known yet, and remember that they were asked for."""
        answers = list(weather)
        self._add_missing([_day_row(answer, day) for answer in answers for day in answer.days])
        firsts = [
            {"cell_id": one.place.cell_id, "history_from": min(day.on for day in one.days)} for one in answers
        ]
        update_all(self._connection, cell, firsts)
        for batch in chunks(asked):
            where = among(self._connection, cell.c.cell_id, batch)
            self._connection.execute(update(cell).where(where).values(history_asked_on=on))

    def _add_missing(self, rows: list[dict[str, Any]]) -> None:
        insert_missing(self._connection, cell_day, rows)

    def days(
        self, cell_ids: Sequence[int], *, first: date, last: date, hours: bool = True
    ) -> dict[int, list[WeatherDay]]:
        """Days of cells in order, with their hours or without; cells without days are absent."""
        found: dict[int, list[WeatherDay]] = {}
        wanted = (DAY if hours else DAY_ALONE).where(cell_day.c.on.between(first, last))
        query = wanted.order_by(cell_day.c.cell_id, cell_day.c.on)
        for row in look_up(self._connection, query, cell_day.c.cell_id, cell_ids):
            found.setdefault(row.cell_id, []).append(_day(row))
        return found

    def tables(self, cell_ids: Sequence[int], *, first: date, last: date) -> dict[int, Floats]:
        """Days of cells as growing needs them, shape (day, quantity); cells without days are absent."""
        query = GROWING.where(cell_day.c.on.between(first, last))
        rows = list(look_up(self._connection, query, cell_day.c.cell_id, cell_ids))
        cells = {cell_id: index for index, cell_id in enumerate(dict.fromkeys(row[0] for row in rows))}
        days = {first + timedelta(days=day): day for day in range((last - first).days + 1)}
        table = np.full((len(cells), len(days), len(QUANTITIES)), np.nan)
        if rows:
            where = [cells[row[0]] for row in rows], [days[row[1]] for row in rows]
            table[where] = np.array([row[2:] for row in rows], dtype=float)
        return dict(zip(cells, table, strict=True))

    def save_ensembles(self, ensembles: Iterable[Ensemble]) -> None:
        """Keep ensembles, newer over older."""
        rows = [
            {
                "cell_id": ensemble.place.cell_id,
                "fetched_at": ensemble.fetched_at,
                "source": ensemble.source,
                "first_on": ensemble.first_on,
                "days": ensemble.t_min_c.shape[1],
                "members": np.array(
                    [ensemble.t_min_c, ensemble.t_max_c, ensemble.rain_mm], dtype="<f4"
                ).tobytes(),
            }
            for ensemble in ensembles
        ]
        upsert(self._connection, cell_ensemble, rows)

    def with_ensemble(self, cell_ids: Sequence[int], *, since: datetime) -> set[int]:
        """Cells that have an ensemble fetched since a moment."""
        query = select(cell_ensemble.c.cell_id).where(cell_ensemble.c.fetched_at >= since)
        return {row.cell_id for row in look_up(self._connection, query, cell_ensemble.c.cell_id, cell_ids)}

    def ensembles(self, cell_ids: Sequence[int], *, since: datetime) -> dict[int, Ensemble]:
        """Ensembles of cells that were fetched since a moment."""
        joined = cell_ensemble.join(cell, cell.c.cell_id == cell_ensemble.c.cell_id)
        columns = (*cell_ensemble.c, cell.c.latitude_deg, cell.c.longitude_deg, cell.c.utc_offset_min)
        query = select(*columns).select_from(joined).where(cell_ensemble.c.fetched_at >= since)
        rows = look_up(self._connection, query, cell_ensemble.c.cell_id, cell_ids)
        return {row.cell_id: _ensemble(row._mapping) for row in rows}

    def refuse(self, refusals: Iterable[tuple[int | None, Refusal]], *, at: datetime) -> None:
        """Log weather that was not believed."""
        rows = [
            {"cell_id": cell_id, "source": said.source, "on": said.on, "reason": said.reason[:400], "at": at}
            for cell_id, said in refusals
        ]
        if rows:
            self._connection.execute(insert(refusal), rows)

    def refusals(self, limit: int) -> list[tuple[int | None, str, date | None, str, datetime]]:
        """The newest refusals: cell, source, day, reason, moment."""
        columns = [refusal.c[name] for name in ("cell_id", "source", "on", "reason", "at")]
        query = select(*columns).order_by(refusal.c.refusal_id.desc()).limit(limit)
        return [tuple(row) for row in self._connection.execute(query)]

    def spent(self, day: date) -> dict[str, float]:
        """Calls made on a UTC day, by source."""
        query = select(budget.c.source, budget.c.calls).where(budget.c.day == day)
        return {row.source: row.calls for row in self._connection.execute(query)}

    def spend(self, source: str, day: date, calls: float, *, most: float) -> bool:
        """Count calls of a day, unless they would be more than so many; whether they were counted."""
        if calls > most:
            return False
        row = insert_for(self._connection, budget).values(source=source, day=day, calls=calls)
        sum_of_both = budget.c.calls + row.excluded.calls
        counted = row.on_conflict_do_update(
            index_elements=["source", "day"], set_={"calls": sum_of_both}, where=sum_of_both <= most
        )
        return self._connection.scalar(counted.returning(budget.c.calls)) is not None

    def hold_bucket(self, source: str, span_s: int, *, full: float, at: datetime) -> CallBucket:
        """The bucket of a source and span, full where it is new; nobody else draws before this ends."""
        row = insert_for(self._connection, bucket).values(source=source, span_s=span_s, calls=full, at=at)
        self._connection.execute(row.on_conflict_do_nothing())
        # SQLite's transactions take the write lock at once.
        query = select(bucket.c.calls, bucket.c.at).where(*_is_bucket(source, span_s)).with_for_update()
        return CallBucket(*self._connection.execute(query).one())

    def keep_bucket(self, source: str, span_s: int, kept: CallBucket) -> None:
        """Keep a bucket as it is now."""
        where = _is_bucket(source, span_s)
        self._connection.execute(update(bucket).where(*where).values(calls=kept.left, at=kept.at))

    def ages(self) -> list[tuple[str, datetime, int]]:
        """By source: the oldest weather in use and how many cells have it from there."""
        query = (
            select(cell.c.source, func.min(cell.c.fetched_at), func.count())
            .where(cell.c.source.is_not(None))
            .group_by(cell.c.source)
        )
        return [(row[0], row[1], row[2]) for row in self._connection.execute(query)]


def _is_bucket(source: str, span_s: int) -> tuple[Any, Any]:
    return bucket.c.source == source, bucket.c.span_s == span_s


def _used() -> Any:
    lawns = exists().where(lawn.c.stand_id == stand.c.stand_id)
    return exists().where(stand.c.cell_id == cell.c.cell_id, lawns)


def _day_row(answer: PlaceWeather, day: WeatherDay) -> dict[str, Any]:
    return {
        "cell_id": answer.place.cell_id,
        "on": day.on,
        "fetched_at": answer.fetched_at,
        "hours": None if day.hours is None else pack_hours(day.hours),
        **{name: getattr(day, name) for name in DAY_COLUMNS},
    }


def _day(row: Any) -> WeatherDay:
    """Return a row of ``DAY`` as a day."""
    values = list(row[1:])
    values[HOURS] = None if values[HOURS] is None else unpack_hours(values[HOURS])
    return WeatherDay(*values)


def _ensemble(row: Any) -> Ensemble:
    numbers = np.frombuffer(row["members"], dtype="<f4").astype(float).reshape(3, -1, row["days"])
    place = Place(row["cell_id"], row["latitude_deg"], row["longitude_deg"], row["utc_offset_min"])
    return Ensemble(
        place, row["first_on"], numbers[0], numbers[1], numbers[2], row["fetched_at"], row["source"]
    )


def pack_hours(hours: DayHours) -> bytes:
    """Fold the hours of a day into bytes."""
    return np.array([hours.t_c, hours.rel_humidity_pct, hours.rain_mm], dtype="<f4").tobytes()


def unpack_hours(data: bytes) -> DayHours:
    """Read back what ``pack_hours`` wrote."""
    values = OF_HOURS.unpack(data)
    return DayHours(values[:24], values[24:48], values[48:])
