"""One lawn on its stand's curve: the anchor it grows from and the growth at which it is due."""

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.grasses import Grass
from mowalert.domain.growth import feed_factor, growth_to_reach_mm, height_mm, lawn_pace
from mowalert.domain.notices import GuideSaid, HoldFacts
from mowalert.domain.thirds import EVERY_DAY, THIRD, limit_height_mm, window_height_mm
from mowalert.domain.words import Clippings, HoldReason


@dataclass(frozen=True, slots=True)
class Anchor:
    """Where a lawn's height starts from: the evening of a day, a height, the curve's ``G`` then.

    ``assumed`` is true where nobody reported it.
    """

    on: date
    height_mm: float
    growth_mm: float
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Due:
    """Values of the stand's curve at which window and limit are reached; none if never. [mm]"""

    window_g_mm: float | None
    limit_g_mm: float | None


@dataclass(frozen=True, slots=True)
class LawnFacts:
    """Everything about one lawn that decides what its keeper is told.

    ``mowing_days`` are weekdays, Monday 0, ``allowed_days`` those on which local rules let anybody mow;
    ``mowing_hours`` local hours from, to. ``told_hold`` is the hold last told and not yet released.
    ``dated_holds`` come from keeper or guide.
    """

    lawn_id: int
    lawn_name: str
    site_name: str
    address: str
    grass: Grass
    chosen_mm: float
    pace: float
    anchor: Anchor
    due: Due
    mowing_days: frozenset[int]
    mowing_hours: tuple[int, int]
    clippings: Clippings
    turf_class: str = ""
    area_m2: float | None = None
    told_hold: HoldReason | None = None
    learned: float | None = None
    dated_holds: tuple[HoldFacts, ...] = field(default=())
    height_cap_mm: float | None = None
    third: float = THIRD
    guide: GuideSaid | None = None
    allowed_days: frozenset[int] = EVERY_DAY

    def height_at(self, growth_mm: float) -> float:
        """Return the height when the stand's curve stands at ``growth_mm``. [mm]"""
        return float(self.heights_at(np.array([growth_mm]))[0])

    def heights_at(self, growth_mm: Floats) -> Floats:
        """Return the heights along the stand's curve. [mm]"""
        return height_mm(
            growth_mm - self.anchor.growth_mm,
            from_height_mm=self.anchor.height_mm,
            pace=self.pace,
            ceiling_mm=self.grass.ceiling_mm,
        )


def place_name(site_name: str, lawn_name: str) -> str:
    """Return how a lawn is called; one without a name of its own is its site's."""
    return site_name if lawn_name in ("", "lawn", site_name) else f"{site_name}, {lawn_name}"


def pace_of(
    grass: Grass, chosen_mm: float, *, nitrogen: float | None, learned: float, regulator: float = 1.0
) -> float:
    """Return ``k`` of a lawn: its height, feed (lb/1000 ft²/yr), what was learned, a regulator."""
    feed = feed_factor(nitrogen, grass.full_feed_n)
    return lawn_pace(chosen_mm, feed=feed, learned=learned, regulator=regulator)


def due_after(
    grass: Grass,
    chosen_mm: float,
    *,
    pace: float,
    from_height_mm: float,
    from_growth_mm: float,
    third: float = THIRD,
) -> Due:
    """Say at which values of the stand's curve a lawn's window opens and its limit comes.

    Parameters
    ----------
    grass : Grass
        The lawn's grass.
    chosen_mm : float
        Height it is cut to. [mm]
    pace : float
        The lawn's ``k``. [-]
    from_height_mm : float
        Height at its anchor. [mm]
    from_growth_mm : float
        The curve's value at its anchor. [mm]
    third : float
        Largest share of the blade a cut may take. [-]

    Returns
    -------
    Due
        Both values; none where the grass stops growing before. [mm]
    """

    def at(to_height_mm: float) -> float | None:
        needed = growth_to_reach_mm(
            to_height_mm, from_height_mm=from_height_mm, pace=pace, ceiling_mm=grass.ceiling_mm
        )
        return None if needed is None else from_growth_mm + needed

    limit_g_mm = at(limit_height_mm(chosen_mm, third))
    if limit_g_mm is None:
        return Due(None, None)
    return Due(at(window_height_mm(chosen_mm, third)), limit_g_mm)
