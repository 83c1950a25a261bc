"""What a night is measured against: programs that move the same bytes and think nothing, or look at every lawn."""

import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import plain_season
import sqlalchemy as sa
from country import TODAY

from mowalert.domain.grasses import Turf
from mowalert.domain.stand import LEAD_DAYS, stand_facts
from mowalert.store.bulk import insert_all, upsert
from mowalert.store.engine import SqlStore
from mowalert.store.sql import among, chunks
from mowalert.store.tables import lawn, outbox, stand_growth, told

AHEAD_DAYS = 9
"""From a Thursday to the first chance after the next round: Saturday of the week after."""
REPEATS = 3
COPIED = (outbox, told)
LAWN_COLUMNS = ("lawn_id", "stand_id", "grass", "chosen_mm", "pace", "anchor_height_mm", "anchor_g_mm")
MOST_BY_ROW = 50_000
"""Lawns looked at one by one; for more the time is taken times as many."""
MOST_BY_MODEL = 300


def search_seconds(store: SqlStore, engine: sa.Engine, turf: Turf) -> tuple[dict[str, float], int]:
    """Seconds of the search in the index and of ways without it, and how many lawns are due.

    ``numpy`` and ``heights`` work out every lawn's height from the curves, ``heights`` row by row; ``model``
    has no curves and plays every lawn's days since its cut, row by row in plain Python. What the night left
    behind its rows is swept first: its own search comes before that.
    """
    _sweep(engine, "lawn, stand_growth")
    with store.begin() as work:
        round_ids = [record.round_id for record in work.rounds.all()]
        by_index, index_s = _best(
            lambda: work.lawns.due_ids(round_ids, as_of=TODAY, limit_day=AHEAD_DAYS, window_day=None)
        )
    with engine.connect() as connection:
        by_numpy, numpy_s = _best(lambda: _all_in_numpy(connection, turf))
        began = time.perf_counter()
        seen = _all_by_row(connection, turf)
        python_s = time.perf_counter() - began
        lawns = int(connection.scalar(sa.select(sa.func.count()).select_from(lawn)) or 0)
    if by_index != by_numpy:
        raise SystemExit(f"the index found {len(by_index)} lawns, reading them all {len(by_numpy)}")
    every = {"heights": python_s * lawns / seen, "model": _by_model_s(store, turf) * lawns}
    return {"index": index_s, "numpy": numpy_s, **every}, len(by_index)


def _best(work: Callable[[], list[int]]) -> tuple[list[int], float]:
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        found = work()
        taken.append(time.perf_counter() - start)
    return found, min(taken)


def _reached(connection: sa.Connection) -> dict[int, float]:
    values = connection.execute(sa.select(stand_growth.c.stand_id, stand_growth.c[f"g{AHEAD_DAYS}"]))
    return dict(map(tuple, values.all()))


def _all_in_numpy(connection: sa.Connection, turf: Turf) -> list[int]:
    """Read every lawn and every curve's value, and work out all heights with numpy."""
    ceilings = {name: grass.ceiling_mm for name, grass in turf.grasses.items()}
    reached = _reached(connection)
    rows = connection.execute(sa.select(*(lawn.c[name] for name in LAWN_COLUMNS))).all()
    lawn_id, stand_id, grass, chosen_mm, pace, height_mm, g0_mm = zip(*rows, strict=True)
    ceiling_mm = np.array([ceilings[name] for name in grass])
    gained_mm = np.array([reached[key] for key in stand_id]) - np.array(g0_mm)
    start = np.arctanh(np.array(height_mm) / ceiling_mm)
    tall_mm = ceiling_mm * np.tanh(start + np.array(pace) * gained_mm / ceiling_mm)
    due = tall_mm >= 1.5 * np.array(chosen_mm)
    return sorted(np.array(lawn_id)[due].tolist())


def _all_by_row(connection: sa.Connection, turf: Turf) -> int:
    """Read lawns one by one and work out each one's days ahead; how many were looked at."""
    columns = sa.select(stand_growth.c.stand_id, *(stand_growth.c[f"g{day}"] for day in range(10)))
    curves = {row[0]: row[1:] for row in connection.execute(columns)}
    found, seen = [], 0
    query = sa.select(*(lawn.c[name] for name in LAWN_COLUMNS)).limit(MOST_BY_ROW)
    for row in connection.execute(query):
        ceiling_mm = turf.grasses[row.grass].ceiling_mm
        start = float(np.arctanh(row.anchor_height_mm / ceiling_mm))
        for day, reached_mm in enumerate(curves[row.stand_id]):
            grown = row.pace * (reached_mm - row.anchor_g_mm) / ceiling_mm
            if ceiling_mm * float(np.tanh(start + grown)) >= 1.5 * row.chosen_mm:
                found.append((row.lawn_id, day))
                break
        seen += 1
    return seen


def _by_model_s(store: SqlStore, turf: Turf) -> float:
    """Seconds to play the days of one lawn, from its cut to the end of the forecast; its days are loaded."""
    with store.begin() as work:
        lawns = work.lawns.page(after=0, limit=MOST_BY_MODEL)
        stands = work.stands.get([one.stand_id for one in lawns])
        cell_ids = sorted({one.cell_id for one in stands.values()})
        cells = {one.cell_id: one for one in work.weather.cells(cell_ids)}
        first, last = TODAY - timedelta(days=40), TODAY + timedelta(days=AHEAD_DAYS)
        days = work.weather.days(cell_ids, first=first, last=last)
    cases = []
    for one in lawns:
        stand, cell = stands[one.stand_id], cells[stands[one.stand_id].cell_id]
        latitude_deg, elevation_m = np.array([cell.latitude_deg]), np.array([cell.elevation_m or 0.0])
        facts = stand_facts([stand.key], turf, latitude_deg=latitude_deg, elevation_m=elevation_m)
        lawn_ = plain_season.Lawn(one.chosen_mm, one.pace, turf.grasses[one.grass].ceiling_mm)
        since = one.anchored_on - timedelta(days=LEAD_DAYS)
        theirs = [day for day in days[cell.cell_id] if day.on >= since]
        cases.append((plain_season.Stand.of(facts, 0), lawn_, theirs))
    began = time.perf_counter()
    for played in cases:
        plain_season.play(*played)
    return (time.perf_counter() - began) / len(cases)


def baselines(engine: sa.Engine) -> dict[str, float]:
    """Seconds of reading due lawns by their ids and writing the night's rows, and of moving all curves."""
    with engine.connect() as connection:
        night = {table: _rows(connection, table) for table in COPIED}
        lawn_ids = sorted({row["lawn_id"] for row in night[told]})
    return {"tell": _tell_bytes(engine, night, lawn_ids), "grow": _grow_bytes(engine)}


def _rows(connection: sa.Connection, table: sa.Table) -> list[dict[str, Any]]:
    key = table.primary_key.columns.keys()[0]
    found = connection.execute(sa.select(table)).mappings()
    return [{name: value for name, value in row.items() if name != key} for row in found]


def _tell_bytes(engine: sa.Engine, night: dict[sa.Table, list[dict[str, Any]]], lawn_ids: list[int]) -> float:
    with engine.begin() as connection:
        connection.execute(told.delete())
        connection.execute(outbox.delete())
    _sweep(engine, "outbox, told")
    began = time.perf_counter()
    with engine.begin() as connection:
        for batch in chunks(lawn_ids):
            connection.execute(sa.select(lawn).where(among(connection, lawn.c.lawn_id, batch))).all()
        for table, rows in night.items():
            for some in chunks(rows, 2000):
                insert_all(connection, table, some)
    return time.perf_counter() - began


def _sweep(engine: sa.Engine, tables: str) -> None:
    if engine.dialect.name == "postgresql":
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql(f"VACUUM {tables}")


def _grow_bytes(engine: sa.Engine) -> float:
    began = time.perf_counter()
    with engine.begin() as connection:
        stand_ids = list(connection.scalars(sa.select(stand_growth.c.stand_id)))
        for batch in chunks(stand_ids, 5000):
            where = among(connection, stand_growth.c.stand_id, batch)
            rows = [dict(row) for row in connection.execute(sa.select(stand_growth).where(where)).mappings()]
            upsert(connection, stand_growth, rows)
    return time.perf_counter() - began
