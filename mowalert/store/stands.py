"""Stands and their curves in the store."""

from collections.abc import Sequence
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from sqlalchemy import Connection, delete, select

from mowalert.domain.arrays import Floats
from mowalert.domain.doubt import no_errors
from mowalert.domain.stand import StandKey
from mowalert.domain.words import Sun, Watering
from mowalert.service.ports_nights import Cells
from mowalert.service.records import GrowthRecord, KeptForecast, StandRecord
from mowalert.store.bulk import insert_new, upsert
from mowalert.store.sql import among, by_index, chunks, insert_for, look_up, values_of
from mowalert.store.tables import (
    GROWTH_DAYS,
    forecast_error,
    kept_forecast,
    lawn,
    stand,
    stand_growth,
)

KEY = ("grass", "soil", "rooting", "sun", "watering", "dry_from", "dry_until")
STAND = select(*(stand.c[name] for name in ("stand_id", "cell_id", *KEY)))
"""Stands with the columns of their keys in the order of a key's."""
G_COLUMNS = tuple(f"g{day}" for day in range(GROWTH_DAYS))
BEFORE_G = tuple(name for name in GrowthRecord.__dataclass_fields__ if name not in ("g", "members"))
GROWTH = select(*(stand_growth.c[name] for name in (*BEFORE_G, *G_COLUMNS, "members")))
"""Curves with their columns in the order of a record's."""


class SqlStands:
    """Stands and their curves.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def ensure(self, cell_id: int, key: StandKey) -> int:
        """Return the stand's id, making it if needed."""
        wanted = {
            "cell_id": cell_id,
            "grass": key.grass_id,
            "soil": key.soil,
            "rooting": key.rooting,
            "sun": key.sun.value,
            "watering": key.watering.value,
            "dry_from": key.dry_from,
            "dry_until": key.dry_until,
        }
        query = select(stand.c.stand_id).filter_by(**wanted)
        found = self._connection.scalar(query)
        if found is None:
            self._connection.execute(
                insert_for(self._connection, stand).values(**wanted).on_conflict_do_nothing()
            )
            found = self._connection.scalar(query)
        return int(found or 0)

    def of_cells(self, cell_ids: Sequence[int]) -> list[StandRecord]:
        """Stands of cells that hold lawns, in order of id."""
        lawns = select(lawn.c.lawn_id).where(lawn.c.stand_id == stand.c.stand_id).exists()
        rows = look_up(self._connection, STAND.where(lawns), stand.c.cell_id, cell_ids)
        return sorted(map(_stand, rows), key=lambda record: record.stand_id)

    def get(self, stand_ids: Sequence[int]) -> dict[int, StandRecord]:
        """Stands by id."""
        rows = look_up(self._connection, STAND, stand.c.stand_id, stand_ids)
        return {row.stand_id: _stand(row) for row in rows}

    def growth(self, stand_ids: Sequence[int]) -> dict[int, GrowthRecord]:
        """Curves by stand; stands never grown are absent."""
        rows = look_up(self._connection, GROWTH, stand_growth.c.stand_id, stand_ids)
        return {row[0]: _growth(row) for row in rows}

    def save_growth(self, records: Sequence[GrowthRecord]) -> None:
        """Keep curves, newer over older."""
        rows = [
            values_of(record, without=["g"]) | dict(zip(G_COLUMNS, record.g, strict=True))
            for record in records
        ]
        upsert(self._connection, stand_growth, rows)

    def forget_growth(self, cell_ids: Sequence[int]) -> None:
        """Drop the curves of cells so that they are computed from their first day again."""
        stands = look_up(self._connection, select(stand.c.stand_id), stand.c.cell_id, cell_ids)
        self.forget_curves([row.stand_id for row in stands])

    def forget_curves(self, stand_ids: Sequence[int]) -> None:
        """Drop curves so that they are computed from their first day again; their lawns wait for a place."""
        forgotten = {"anchor_g_mm": None, "window_g_mm": None, "limit_g_mm": None}
        for batch in chunks(stand_ids):
            curves = among(self._connection, stand_growth.c.stand_id, batch)
            self._connection.execute(delete(stand_growth).where(curves))
            lawns = among(self._connection, lawn.c.stand_id, batch)
            self._connection.execute(lawn.update().where(lawns).values(**forgotten))

    def keep_forecasts(self, forecasts: Sequence[KeptForecast], *, forget_before: date) -> list[int]:
        """Keep forecasts of growth to be judged later; stands that had none of that day yet."""
        self._connection.execute(delete(kept_forecast).where(kept_forecast.c.as_of < forget_before))
        rows = [values_of(one) | {"gains_mm": _pack(one.gains_mm)} for one in forecasts]
        new = insert_new(self._connection, kept_forecast, rows, unique=["stand_id", "as_of"])
        return [one.stand_id for one, kept in zip(forecasts, new, strict=True) if kept]

    def kept_forecasts(self, stand_ids: Sequence[int]) -> list[KeptForecast]:
        """Forecasts of growth kept for stands."""
        query = select(kept_forecast).order_by(kept_forecast.c.stand_id, kept_forecast.c.as_of)
        return [
            KeptForecast(row.stand_id, row.as_of, tuple(np.frombuffer(row.gains_mm, dtype="<f8").tolist()))
            for row in look_up(self._connection, query, kept_forecast.c.stand_id, stand_ids)
        ]

    def forecast_errors(self) -> Floats:
        """Tallies of how far forecasts of growth lay off, shape (lead, class of error)."""
        seen = no_errors(GROWTH_DAYS - 1)
        for row in self._connection.execute(select(forecast_error)):
            seen[row.lead_days - 1] = np.frombuffer(row.tally, dtype="<f8")
        return seen

    def add_forecast_errors(self, more: Floats) -> None:
        """Add a night's tallies."""
        seen = self.forecast_errors() + more
        rows = [{"lead_days": lead + 1, "tally": _pack(counts)} for lead, counts in enumerate(seen)]
        upsert(self._connection, forecast_error, rows)

    def growth_dates(self, *, within: Cells | None = None) -> list[date]:
        """Every ``as_of`` there is, of all stands or of some cells'."""
        query = select(stand_growth.c.as_of).distinct().order_by(stand_growth.c.as_of)
        if within is not None:
            query = query.join(stand, stand.c.stand_id == stand_growth.c.stand_id)
            query = query.where(stand.c.cell_id.between(*within))
        with by_index(self._connection):
            return list(self._connection.scalars(query))


def _pack(values: Sequence[float] | Floats) -> bytes:
    return np.array(values, dtype="<f8").tobytes()


def _growth(row: Any) -> GrowthRecord:
    """Return a row of ``GROWTH`` as a record."""
    known = len(BEFORE_G)
    values = (*row[:known], tuple(row[known:-1]), row[-1])
    return GrowthRecord(*values)


def _stand(row: Any) -> StandRecord:
    """Return a row of ``STAND`` as a record."""
    return StandRecord(row[0], row[1], _key(*row[2:]))


@lru_cache(maxsize=4096)
def _key(
    grass: str, soil: str, rooting: int, sun: str, watering: str, dry_from: int, dry_until: int
) -> StandKey:
    """Stands of many cells are alike."""
    return StandKey(grass, soil, rooting, Sun(sun), Watering(watering), dry_from, dry_until)
