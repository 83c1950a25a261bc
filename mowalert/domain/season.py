"""A whole season of one lawn, played day by day: when it is cut, held, and how much it grows."""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.grasses import Grass
from mowalert.domain.growth import KEPT_BELOW_CEILING, height_mm
from mowalert.domain.holds import LASTING, TOLD, in_mask
from mowalert.domain.stand import StandCurve
from mowalert.domain.thirds import DAYS_BETWEEN, THIRD, limit_height_mm, removed_fraction, window_height_mm
from mowalert.domain.words import HoldReason

CLIPPINGS_G_M2_MM = 0.75
"""Dry clippings of one mm of cut; working value (1-3 g/m²/d at 1.5-4 mm/d: Friell, U. of Minnesota)."""
CLIPPINGS_N = 0.04
"""Nitrogen in dry clippings; common practice."""


class CutAt(StrEnum):
    """When the simulated keeper cuts: on the last safe day, or as soon as the window opens."""

    LIMIT = "limit"
    WINDOW = "window"


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """One day of a season; heights in the evening, before a cut of that evening."""

    on: date
    gdd_c: float
    growth_mm: float
    height_mm: float
    et0_mm: float
    depletion_mm: float
    water_stress: float
    hold: HoldReason | None


@dataclass(frozen=True, slots=True)
class SeasonMowing:
    """One cut of a season."""

    on: date
    height_before_mm: float
    height_after_mm: float
    removed_fraction: float


@dataclass(frozen=True, slots=True)
class SeasonHold:
    """One hold of a season: first and last day."""

    start: date
    end: date
    reason: HoldReason


@dataclass(frozen=True, slots=True)
class SeasonSummary:
    """A season in five numbers."""

    mowings: int
    median_interval_days: float | None
    max_removed_fraction: float
    grown_mm: float
    clippings_n_kg_ha: float


@dataclass(frozen=True, slots=True)
class Season:
    """Everything that happened to one lawn."""

    days: tuple[SeasonDay, ...]
    mowings: tuple[SeasonMowing, ...]
    holds: tuple[SeasonHold, ...]
    summary: SeasonSummary


@dataclass(frozen=True, slots=True)
class _Lawn:
    """What the day-by-day play needs of a lawn."""

    chosen_mm: float
    pace: float
    ceiling_mm: float

    def after(self, before_mm: float, grown_mm: float) -> float:
        """Height a growth of the curve later."""
        height = height_mm(grown_mm, from_height_mm=before_mm, pace=self.pace, ceiling_mm=self.ceiling_mm)
        return float(height)


def play(
    curve: StandCurve,
    grass: Grass,
    *,
    chosen_mm: float,
    pace: float,
    cut_at: CutAt = CutAt.LIMIT,
    third: float = THIRD,
) -> Season:
    """Play a season in which the keeper cuts whenever it is time and nothing holds.

    Parameters
    ----------
    curve : StandCurve
        One stand, every day of the season.
    grass : Grass
        The lawn's grass.
    chosen_mm : float
        Height it is cut to. [mm]
    pace : float
        The lawn's ``k``. [-]
    cut_at : CutAt
        ``LIMIT``: the last evening on which a cut takes no more than a third; ``WINDOW``: the first
        on which growth has reached a third of the chosen height.
    third : float
        Largest share of the blade a cut may take. [-]

    Returns
    -------
    Season
        Days, cuts, holds and a summary. After a hold overgrown turf is brought down in stages.
    """
    lawn = _Lawn(chosen_mm, pace, grass.ceiling_mm)
    daily_mm = np.diff(curve.growth_mm[0], prepend=0.0)
    masks = curve.holds[0]
    days, mowings, height, rest_until = [], [], chosen_mm, curve.first_on
    for index in range(len(daily_mm)):
        on = curve.first_on + timedelta(days=index)
        height = lawn.after(height, daily_mm[index])
        days.append(_season_day(curve, daily_mm, index, on, height))
        tomorrow_mm = lawn.after(height, daily_mm[index + 1]) if index + 1 < len(daily_mm) else height
        free = masks[index] == 0 and on >= rest_until
        if free and _is_time(lawn, height, tomorrow_mm, masks, index, cut_at, third):
            after = max(chosen_mm, (1 - third) * height)
            mowings.append(SeasonMowing(on, height, after, removed_fraction(height, after)))
            height = after
            if after > chosen_mm:
                rest_until = on + timedelta(days=DAYS_BETWEEN)
    return Season(tuple(days), tuple(mowings), _holds(curve), _summary(days, mowings))


def _is_time(
    lawn: _Lawn, height: float, tomorrow_mm: float, masks: Floats, index: int, cut_at: CutAt, third: float
) -> bool:
    if limit_height_mm(lawn.chosen_mm, third) >= KEPT_BELOW_CEILING * lawn.ceiling_mm:
        return False
    window_open = height >= window_height_mm(lawn.chosen_mm, third)
    if cut_at is CutAt.WINDOW:
        return window_open
    limit_mm = limit_height_mm(lawn.chosen_mm, third)
    # A hold that starts tomorrow makes today the last chance, once the window is open.
    held_tomorrow = index + 1 < len(masks) and masks[index + 1] > 0
    return tomorrow_mm > limit_mm or (held_tomorrow and window_open)


def _season_day(curve: StandCurve, daily_mm: Floats, index: int, on: date, height: float) -> SeasonDay:
    gdd_c = curve.gdd_c[0]
    reasons = in_mask(float(curve.holds[0, index]))
    return SeasonDay(
        on=on,
        gdd_c=float(gdd_c[index] - (gdd_c[index - 1] if index else 0.0)),
        growth_mm=float(daily_mm[index]),
        height_mm=height,
        et0_mm=float(curve.et0_mm[0, index]),
        depletion_mm=float(curve.depletion_mm[0, index]),
        water_stress=float(curve.water_stress[0, index]),
        hold=reasons[0] if reasons else None,
    )


def _holds(curve: StandCurve) -> tuple[SeasonHold, ...]:
    spans = []
    for bit, reason in enumerate(LASTING):
        if reason not in TOLD:
            continue
        active = (curve.holds[0].astype(int) >> bit & 1).astype(np.int8)
        edges = np.diff(active, prepend=0, append=0)
        for start, stop in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
            first = curve.first_on + timedelta(days=int(start))
            spans.append(SeasonHold(first, curve.first_on + timedelta(days=int(stop) - 1), reason))
    return tuple(sorted(spans, key=lambda hold: (hold.start, LASTING.index(hold.reason))))


def _summary(days: list[SeasonDay], mowings: list[SeasonMowing]) -> SeasonSummary:
    gaps = [(later.on - cut.on).days for cut, later in pairwise(mowings)]
    cut_mm = sum(cut.height_before_mm - cut.height_after_mm for cut in mowings)
    return SeasonSummary(
        mowings=len(mowings),
        median_interval_days=float(np.median(gaps)) if gaps else None,
        max_removed_fraction=max((cut.removed_fraction for cut in mowings), default=0.0),
        grown_mm=float(sum(day.growth_mm for day in days)),
        # 1 g/m² is 10 kg/ha.
        clippings_n_kg_ha=float(cut_mm * CLIPPINGS_G_M2_MM * CLIPPINGS_N * 10),
    )
