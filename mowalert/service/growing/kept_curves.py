"""What is kept of a curve: the days before those computed anew, and those beyond the forecast."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.holds import TOLD
from mowalert.service.growing.outlook import pack_curve, unpack_curve
from mowalert.service.records import GrowthRecord, StandRecord

KEPT_DAYS = 40
LOOK_BACK_DAYS = 400
AHEAD_DAYS = 9
TREND_DAYS = 3
"""Days whose mean growth goes on where a forecast ends before the tenth day."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept of a stand's curve, see ``GrowthRecord``."""

    curve_from: date
    curve: bytes
    told_mask: int
    g: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Past:
    """Stored days that go before those computed anew, of so many bytes, and the first day that is kept."""

    curve_from: date
    stored: int
    keep_from: date


def kept_curves(
    stands: Sequence[StandRecord],
    rows: Floats,
    known: Mapping[int, GrowthRecord],
    *,
    first_on: date,
    today: date,
    needed_from: Mapping[int, date],
) -> list[Kept]:
    """Put the days before and beyond to curves computed anew; stands with a like past at once.

    Parameters
    ----------
    stands : Sequence[StandRecord]
        The stands.
    rows : Floats
        Days computed anew, shape (stand, row, day), in the rows of a stored curve.
    known : Mapping[int, GrowthRecord]
        What is stored of stands by id; those never grown are absent.
    first_on : date
        The first day computed anew.
    today : date
        Today, where the stands are.
    needed_from : Mapping[int, date]
        The earliest day on which a lawn that waits for its place was cut, by stand.

    Returns
    -------
    list[Kept]
        One a stand.
    """
    alike: dict[_Past, list[int]] = {}
    for index, stand in enumerate(stands):
        needed_on = needed_from.get(stand.stand_id, today)
        past = _past_of(stand, known.get(stand.stand_id), first_on, today, needed_on)
        alike.setdefault(past, []).append(index)
    kept: dict[int, Kept] = {}
    for past, members in alike.items():
        curves = [known[stands[index].stand_id].curve for index in members] if past.stored else []
        whole = _to_horizon(_with_past(rows[members], first_on, past, curves), past.keep_from, today)
        kept.update(zip(members, _packed(whole, past.keep_from, today), strict=True))
    return [kept[index] for index in range(len(stands))]


def _past_of(
    stand: StandRecord, before: GrowthRecord | None, first_on: date, today: date, needed_on: date
) -> _Past:
    # Lawns may come to a stand that just went dry with a cut of long ago.
    dry_anew = before is None and stand.key.dry_from
    keep_from = min(needed_on, today - timedelta(days=LOOK_BACK_DAYS if dry_anew else KEPT_DAYS))
    if before is None or before.curve_from >= first_on:
        return _Past(first_on, 0, max(keep_from, first_on))
    return _Past(before.curve_from, len(before.curve), max(keep_from, before.curve_from))


def _with_past(rows: Floats, first_on: date, past: _Past, curves: Sequence[bytes]) -> Floats:
    """Put the stored days before those computed anew, and drop those too old to be kept."""
    if curves:
        days = (first_on - past.curve_from).days
        old = np.stack([unpack_curve(curve)[:, :days] for curve in curves])
        # Days nobody saw stand still.
        if old.shape[2] < days:
            old = np.pad(old, ((0, 0), (0, 0), (0, days - old.shape[2])), mode="edge")
        rows = np.concatenate([old, rows], axis=2)
    return rows[:, :, (past.keep_from - past.curve_from).days :]


def _to_horizon(rows: Floats, curve_from: date, today: date) -> Floats:
    """Let growth go on as in the last days where the forecast is shorter than the horizon."""
    lacking = (today - curve_from).days + AHEAD_DAYS + 1 - rows.shape[2]
    if lacking <= 0:
        return rows
    slope = (rows[:, :2, -1] - rows[:, :2, -1 - min(TREND_DAYS, rows.shape[2] - 1)]) / TREND_DAYS
    tail = np.repeat(rows[:, :, -1:], lacking, axis=2)
    tail[:, :2] += slope[:, :, np.newaxis] * np.arange(1, lacking + 1)
    return np.concatenate([rows, tail], axis=2)


def _packed(rows: Floats, curve_from: date, today: date) -> list[Kept]:
    day = (today - curve_from).days
    held = rows[:, 4, day : day + 2].astype(np.int64) & ((1 << len(TOLD)) - 1)
    masks = held[:, 0] | held[:, 1] << 8
    ahead_mm = rows[:, 0, day : day + AHEAD_DAYS + 1]
    return [
        Kept(curve_from, pack_curve(curve), mask, tuple(g))
        for curve, mask, g in zip(rows, masks.tolist(), ahead_mm.tolist(), strict=True)
    ]
