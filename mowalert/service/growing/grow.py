"""Grow: compute every stand's curve from its settled state on, and put lawns in their place on it.

Weather of the last days gets corrected. A stand keeps a settled state some days back; younger days
are computed again from the cell's weather each night, and lawns whose anchor lies among them are
anchored again.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import due_after
from mowalert.domain.stand import (
    LEAD_DAYS,
    StandCurve,
    StandState,
    StandWeather,
    grow,
    stand_facts,
)
from mowalert.domain.weather import Ensemble
from mowalert.service.growing.kept_curves import AHEAD_DAYS, LOOK_BACK_DAYS, kept_curves
from mowalert.service.growing.outlook import unpack_curve
from mowalert.service.growing.pull import local_date, season_start
from mowalert.service.growing.spread import member_gains, pack_members
from mowalert.service.ports import Store, Work
from mowalert.service.records import (
    AnchorUpdate,
    CellRecord,
    GrowthRecord,
    LawnPlace,
    LawnRecord,
    StandRecord,
)

SETTLE_DAYS = 5
"""Weather older than this is not corrected any more."""
MOST_FILLED_DAYS = 2
"""Longest gap in a cell's days that is bridged; a longer one ends the curve before it."""
MOST_GUESSED_DAYS = 21
CELLS_AT_ONCE = 100
"""Few enough that a worker's memory is not settled by what it grows."""
OLDEST_ENSEMBLE = timedelta(hours=48)
NEVER = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class GrowReport:
    """How many stands were grown, left as they were for want of weather, and lawns anchored."""

    grown: int
    stale: int
    anchored: int

    def __add__(self, other: "GrowReport") -> "GrowReport":
        return GrowReport(self.grown + other.grown, self.stale + other.stale, self.anchored + other.anchored)


def grow_stands(
    store: Store, turf: Turf, *, now: datetime, cell_ids: Sequence[int] | None = None
) -> GrowReport:
    """Compute the curves of all stands, or of some cells', a few hundred cells a transaction."""
    with store.begin() as work:
        cells = work.weather.cells(cell_ids)
    done = GrowReport(0, 0, 0)
    for start in range(0, len(cells), CELLS_AT_ONCE):
        with store.begin() as work:
            done += _grow_cells(work, turf, cells[start : start + CELLS_AT_ONCE], now)
            work.commit()
    return done


@dataclass(frozen=True, slots=True)
class _CellDays:
    """A cell's days from one on, shape (day, quantity); ``nan`` where nothing is known."""

    first_on: date
    table: Floats

    @property
    def known(self) -> set[date]:
        """The days with weather."""
        seen = np.flatnonzero(~np.isnan(self.table[:, 0])).tolist()
        return {self.first_on + timedelta(days=day) for day in seen}

    def span(self, first_on: date, width: int) -> Floats:
        """Days from another one on; short gaps take the mean of their neighbours, no rain."""
        table = np.full((width, self.table.shape[1]), np.nan)
        offset = (first_on - self.first_on).days
        loaded = self.table[max(0, offset) : offset + width]
        start = max(0, -offset)
        table[start : start + len(loaded)] = loaded
        known = np.flatnonzero(~np.isnan(table[:, 0]))
        for index in np.setdiff1d(np.arange(known[0], width), known):
            table[index, :2] = [np.interp(index, known, table[known, column]) for column in (0, 1)]
            table[index, 2] = 0.0
        return table


@dataclass(frozen=True, slots=True)
class _Batch:
    """Stands that are computed together: same first day, same today, same last day."""

    first_on: date
    today: date
    last_on: date
    stands: list[StandRecord]


def _grow_cells(work: Work, turf: Turf, cells: Sequence[CellRecord], now: datetime) -> GrowReport:
    by_id = {cell.cell_id: cell for cell in cells}
    stands = work.stands.of_cells(list(by_id))
    ensembles = work.weather.ensembles(list(by_id), since=now - OLDEST_ENSEMBLE)
    known = work.stands.growth([stand.stand_id for stand in stands])
    waiting = work.lawns.unanchored([stand.stand_id for stand in stands])
    if _begin_anew(work, stands, by_id, known, waiting, now):
        waiting = work.lawns.unanchored([stand.stand_id for stand in stands])
    days, first_cuts = _load_days(work, list(by_id), stands, known, now), _cut_first(waiting)
    grown, anchored = 0, 0
    for batch in _batches(stands, by_id, known, days, now):
        records = _grow_batch(batch, turf, by_id, known, days, ensembles, first_cuts)
        work.stands.save_growth(records)
        anchored += _place_lawns(work, turf, records, known, waiting)
        grown += len(records)
    return GrowReport(grown, len(stands) - grown, anchored)


def _begin_anew(
    work: Work,
    stands: Sequence[StandRecord],
    cells: Mapping[int, CellRecord],
    known: dict[int, GrowthRecord],
    waiting: Sequence[LawnPlace],
    now: datetime,
) -> bool:
    """Compute stands from their first day again where a lawn waits that was cut before their curve."""
    first = _cut_first(waiting)
    early = [
        stand
        for stand in stands
        if (record := known.get(stand.stand_id)) is not None
        and first.get(stand.stand_id, record.curve_from) < record.curve_from
    ]
    days = _load_days(work, sorted({stand.cell_id for stand in early}), early, {}, now) if early else {}
    anew = []
    for stand in early:
        seen = days[stand.cell_id].known if stand.cell_id in days else set()
        begins_earlier = min(seen, default=now.date()) < known[stand.stand_id].curve_from
        # A curve is not given up for one that does not reach today.
        if begins_earlier and _span(seen, None, local_date(cells[stand.cell_id], now)) is not None:
            anew.append(stand.stand_id)
    work.stands.forget_curves(anew)
    for stand_id in anew:
        del known[stand_id]
    return bool(anew)


def _cut_first(lawns: Iterable[LawnPlace]) -> dict[int, date]:
    """The earliest cut of some lawns, by stand."""
    first: dict[int, date] = {}
    for lawn in lawns:
        first[lawn.stand_id] = min(lawn.anchored_on, first.get(lawn.stand_id, lawn.anchored_on))
    return first


def _load_days(
    work: Work,
    cell_ids: Sequence[int],
    stands: Sequence[StandRecord],
    known: Mapping[int, GrowthRecord],
    now: datetime,
) -> dict[int, _CellDays]:
    """Days from before the earliest day to compute: a season for stands that never grew."""
    settled = [record.settled_on for record in known.values()]
    if len(known) < len(stands):
        settled.append(now.date() - timedelta(days=LOOK_BACK_DAYS))
    first = min(settled, default=now.date()) - timedelta(days=LEAD_DAYS)
    last = now.date() + timedelta(days=AHEAD_DAYS + 1)
    tables = work.weather.tables(cell_ids, first=first, last=last)
    return {cell_id: _CellDays(first, table) for cell_id, table in tables.items()}


def _batches(
    stands: Sequence[StandRecord],
    cells: Mapping[int, CellRecord],
    known: Mapping[int, GrowthRecord],
    days: Mapping[int, _CellDays],
    now: datetime,
) -> Iterator[_Batch]:
    groups: dict[tuple[date, date, date], list[StandRecord]] = {}
    spans: dict[tuple[int, date | None], tuple[date, date, date] | None] = {}
    for stand in stands:
        record = known.get(stand.stand_id)
        # Stands of a cell that are settled alike have the same days to compute.
        alike = stand.cell_id, None if record is None else record.settled_on
        if alike not in spans:
            today = local_date(cells[stand.cell_id], now)
            of_cell = days.get(stand.cell_id)
            spans[alike] = _span(of_cell.known if of_cell else (), alike[1], today)
        if (span := spans[alike]) is not None:
            groups.setdefault(span, []).append(stand)
    for (first_on, today, last_on), members in sorted(groups.items()):
        yield _Batch(first_on, today, last_on, members)


def _span(known: Collection[date], settled_on: date | None, today: date) -> tuple[date, date, date] | None:
    """First day to compute, today and last day; none if today is out of reach."""
    first_on = _first_day(settled_on, known, today)
    last_on = _last_day(known, first_on, today)
    return None if first_on is None or last_on is None else (first_on, today, last_on)


def _first_day(settled_on: date | None, known: Collection[date], today: date) -> date | None:
    """The day after the settled one, or where weather can be seen again after a gap nobody can bridge."""
    if settled_on is None:
        return min(known, default=None)
    after = settled_on + timedelta(days=1)
    seen_from = _seen_from(known, after, today)
    return after if seen_from is None or seen_from <= after else seen_from


def _seen_from(known: Collection[date], after: date, today: date) -> date | None:
    """First day of the last stretch without a long gap that reaches today; ``after`` if all of it does."""
    first, missing, on = None, 0, today
    while on >= after and missing <= MOST_FILLED_DAYS:
        missing = 0 if on in known else missing + 1
        first = on if on in known else first
        on -= timedelta(days=1)
    return after if missing <= MOST_FILLED_DAYS and first is not None else first


def _last_day(known: Collection[date], first_on: date | None, today: date) -> date | None:
    """Last day that can be computed without a long gap before it; none if today is out of reach."""
    if first_on is None:
        return None
    on, last, missing = first_on, None, 0
    while on <= today + timedelta(days=AHEAD_DAYS):
        missing = 0 if on in known else missing + 1
        if missing > MOST_FILLED_DAYS:
            break
        last = on if on in known else last
        on += timedelta(days=1)
    return last if last is not None and last >= today else None


def _grow_batch(
    batch: _Batch,
    turf: Turf,
    cells: Mapping[int, CellRecord],
    known: Mapping[int, GrowthRecord],
    days: Mapping[int, _CellDays],
    ensembles: Mapping[int, Ensemble],
    needed_from: Mapping[int, date],
) -> list[GrowthRecord]:
    facts = stand_facts(
        [stand.key for stand in batch.stands],
        turf,
        latitude_deg=np.array([cells[stand.cell_id].latitude_deg for stand in batch.stands]),
        elevation_m=np.array([cells[stand.cell_id].elevation_m or 0.0 for stand in batch.stands]),
    )
    weather = _stand_weather(batch, days)
    start = _start_states(batch, cells, known)
    # Run again on one day, a stand settles no further: what is younger may still be corrected.
    settle_on = max(batch.first_on - timedelta(days=1), batch.today - timedelta(days=SETTLE_DAYS))
    curve = grow(facts, weather, start, settle_on=settle_on)
    of_stands = [ensembles.get(stand.cell_id) for stand in batch.stands]
    gains = member_gains(facts, weather, start, of_stands, today=batch.today, ahead_days=AHEAD_DAYS)
    settled = curve.settled.packed().astype("<f8")
    kept = kept_curves(
        batch.stands,
        _rows_of(curve),
        known,
        first_on=batch.first_on,
        today=batch.today,
        needed_from=needed_from,
    )
    return [
        GrowthRecord(
            stand_id=stand.stand_id,
            as_of=batch.today,
            fetched_at=cells[stand.cell_id].fetched_at or NEVER,
            known_until=batch.last_on,
            settled_on=settle_on,
            settled=evening.tobytes(),
            curve_from=one.curve_from,
            curve=one.curve,
            told_mask=one.told_mask,
            g=one.g,
            members=pack_members(gain),
        )
        for stand, one, evening, gain in zip(batch.stands, kept, settled, gains, strict=True)
    ]


def _rows_of(curve: StandCurve) -> Floats:
    """What is kept of curves, shape (stand, row, day)."""
    kept = (
        curve.growth_mm,
        curve.gdd_c,
        curve.water_stress,
        curve.heat_load,
        curve.holds,
        curve.depletion_mm,
    )
    return np.stack(kept, axis=1)


def _start_states(
    batch: _Batch, cells: Mapping[int, CellRecord], known: Mapping[int, GrowthRecord]
) -> StandState:
    rows = []
    for stand in batch.stands:
        record = known.get(stand.stand_id)
        if record is not None and record.settled_on >= batch.first_on - timedelta(days=1):
            rows.append(np.frombuffer(record.settled, dtype="<f8"))
            continue
        if record is not None:
            rows.append(_resumed(record, batch.first_on).packed()[0])
            continue
        seen = batch.first_on <= season_start(cells[stand.cell_id], batch.today)
        rows.append(StandState.fresh(1, warmth_known=seen).packed()[0])
    return StandState.unpacked(np.array(rows))


def _resumed(record: GrowthRecord, first_on: date) -> StandState:
    """The state after days nobody saw: the curve goes on from where it was, soil and holds begin anew."""
    curve = unpack_curve(record.curve)
    last = min((first_on - record.curve_from).days, curve.shape[1]) - 1
    begun = StandState.fresh(1, warmth_known=False)
    return replace(begun, growth_mm=curve[0, last : last + 1], gdd_c=curve[1, last : last + 1])


def _stand_weather(batch: _Batch, days: Mapping[int, _CellDays]) -> StandWeather:
    cell_ids = sorted({stand.cell_id for stand in batch.stands})
    first_on = batch.first_on - timedelta(days=LEAD_DAYS)
    width = (batch.last_on - first_on).days + 1
    table = np.array([days[cell_id].span(first_on, width) for cell_id in cell_ids])
    rows = table[np.searchsorted(cell_ids, [stand.cell_id for stand in batch.stands])]
    return StandWeather(first_on, *(np.ascontiguousarray(rows[:, :, column]) for column in range(7)))


def _place_lawns(
    work: Work,
    turf: Turf,
    records: Sequence[GrowthRecord],
    known: Mapping[int, GrowthRecord],
    waiting: Sequence[LawnPlace],
) -> int:
    """Anchor lawns that have no place yet, and those whose anchor's days were computed again."""
    by_stand = {record.stand_id: record for record in records}
    first_new = min((r.settled_on for r in known.values() if r.stand_id in by_stand), default=None)
    moved = work.lawns.anchored_after(list(by_stand), first_new) if first_new is not None else []
    lawns = [*(lawn for lawn in waiting if lawn.stand_id in by_stand), *moved]
    curves = {stand_id: growth_by_day(by_stand[stand_id]) for stand_id in {lawn.stand_id for lawn in lawns}}
    updates = [anchored(lawn, by_stand[lawn.stand_id], turf, curves[lawn.stand_id]) for lawn in lawns]
    changed = [update for update in updates if update is not None]
    work.lawns.anchor(changed)
    return len(changed)


def growth_by_day(record: GrowthRecord) -> list[float]:
    """Return a stand's curve, day by day from its first on. [mm]"""
    growth_mm: list[float] = unpack_curve(record.curve)[0].tolist()
    return growth_mm


def growth_on(record: GrowthRecord, on: date) -> float:
    """Return a stand's curve on a day, held within the days that are kept. [mm]"""
    curve_mm = unpack_curve(record.curve)[0]
    return float(curve_mm[min(max((on - record.curve_from).days, 0), len(curve_mm) - 1)])


def anchored(
    lawn: LawnRecord | LawnPlace, record: GrowthRecord, turf: Turf, curve_mm: Sequence[float]
) -> AnchorUpdate | None:
    """Place a lawn on its stand's curve; none where its day is still to come or nothing changed."""
    on, assumed = lawn.anchored_on, lawn.anchor_assumed
    if on > record.as_of:
        if not assumed:
            return None
        # A lawn enrolled without a last cut starts on the first day that is seen.
        on = record.as_of
    growth_mm, guessed = _growth_on(curve_mm, record.curve_from, on)
    if lawn.anchor_g_mm is not None and (guessed or abs(growth_mm - lawn.anchor_g_mm) < 1e-9):
        return None
    return anchor_at(lawn, turf, on=on, growth_mm=growth_mm, assumed=assumed or guessed)


def anchor_at(
    lawn: LawnRecord | LawnPlace, turf: Turf, *, on: date, growth_mm: float, assumed: bool
) -> AnchorUpdate:
    """Return a lawn's place where the curve has a value, with what it grows to its window and its limit."""
    due = due_after(
        turf.grasses[lawn.grass],
        lawn.chosen_mm,
        pace=lawn.pace,
        from_height_mm=lawn.anchor_height_mm,
        from_growth_mm=growth_mm,
        third=lawn.third,
    )
    return AnchorUpdate(
        lawn.lawn_id, on, lawn.anchor_height_mm, growth_mm, assumed, due.window_g_mm, due.limit_g_mm
    )


def _growth_on(curve_mm: Sequence[float], first_on: date, on: date) -> tuple[float, bool]:
    """The curve's value on a day; before its first day it is guessed from the first week's pace."""
    day = (on - first_on).days
    if day >= 0:
        return curve_mm[min(day, len(curve_mm) - 1)], False
    week = curve_mm[:7]
    pace_mm_d = (week[-1] - week[0]) / max(1, len(week) - 1)
    return curve_mm[0] + pace_mm_d * max(day, -MOST_GUESSED_DAYS), True
