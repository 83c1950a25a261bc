"""What a keeper's ruler teaches about one lawn: its own factor beside the model's pace.

Every measured height closes an interval that began at a height known or assumed. The logarithm of
the factor starts from a belief around one, and each interval pulls it towards the factor that would
have made the lawn grow just so: the harder the more had grown, an outlier less.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atanh, exp, hypot, sqrt, tanh

from mowalert.domain.growth import KEPT_BELOW_CEILING

USUAL_SPREAD = 0.35
"""Standard deviation of the logarithm of lawns' own factors before anything is known; working value."""
RULER_MM = 5.0
"""Doubt of a measured height: grass is uneven; working value."""
REPORTED_CUT_MM = 3.0
"""Doubt of the height after a cut somebody reported: wheels sink, decks sag; working value."""
ASSUMED_CUT_MM = 10.0
"""Doubt of a height nobody reported; working value."""
MODEL_SHARE = 0.10
"""Doubt of the model's growth over one interval, as a share of it; working value."""
HUBER = 1.5
"""Deviations beyond which an observation's pull no longer grows (Huber 1964, doi 10.1214/aoms/1177703732)."""
LEAST_GROWN_MM = 6.0
"""Less growth than this tells nothing beside the ruler's doubt."""
LOWEST, HIGHEST = 0.4, 2.5
"""Bounds of a factor."""
ABSURD = 4.0
"""A single report that would make the factor more than this, or less than one over this, is an error."""
TOLD_FROM = 2
"""Usable reports before what was learned is said aloud."""
ROUNDS = 30
LONGEST_STEP = 0.5


@dataclass(frozen=True, slots=True)
class MeasuredGrowth:
    """One interval that a measured height closed; heights in mm.

    ``stand_growth_mm`` is how much the stand's curve grew, ``pace`` the lawn's without anything
    learned, ``from_doubt_mm`` how well the first height was known.
    """

    from_height_mm: float
    to_height_mm: float
    stand_growth_mm: float
    pace: float
    ceiling_mm: float
    from_doubt_mm: float


@dataclass(frozen=True, slots=True)
class Learned:
    """A lawn's own factor, the spread of its logarithm, and how many reports were used or not."""

    factor: float
    spread: float
    used: int
    unused: int

    @property
    def told(self) -> bool:
        """Whether enough is known to speak of it."""
        return self.used >= TOLD_FROM


NOTHING = Learned(1.0, USUAL_SPREAD, 0, 0)


def learn(measured: Sequence[MeasuredGrowth]) -> Learned:
    """Fit a lawn's factor to all its measured intervals.

    Parameters
    ----------
    measured : Sequence[MeasuredGrowth]
        Every interval, in any order.

    Returns
    -------
    Learned
        A pure function of the intervals: taking one away forgets it. The factor lies within its
        bounds; with nothing usable it is one.

    References
    ----------
    .. [1] P. J. Huber, "Robust estimation of a location parameter", Ann. Math. Stat. 35, 1964.
       doi:10.1214/aoms/1177703732
    """
    usable = [one for one in measured if is_usable(one)]
    if not usable:
        return Learned(1.0, USUAL_SPREAD, 0, len(measured))
    centre, precision = _posterior(usable)
    factor = min(max(exp(centre), LOWEST), HIGHEST)
    return Learned(factor, 1 / sqrt(precision), len(usable), len(measured) - len(usable))


def is_usable(one: MeasuredGrowth) -> bool:
    """Whether a report can teach anything: enough had grown, and it does not contradict all sense."""
    expected_mm = one.pace * one.stand_growth_mm
    highest_mm = KEPT_BELOW_CEILING * one.ceiling_mm
    if expected_mm < LEAST_GROWN_MM or max(one.from_height_mm, one.to_height_mm) >= highest_mm:
        return False
    gained = atanh(one.to_height_mm / one.ceiling_mm) - atanh(one.from_height_mm / one.ceiling_mm)
    return 1 / ABSURD <= one.ceiling_mm * gained / expected_mm <= ABSURD


def _posterior(usable: Sequence[MeasuredGrowth]) -> tuple[float, float]:
    """Most likely logarithm of the factor and its precision, by steps towards the measured heights."""
    belief = 1 / USUAL_SPREAD**2
    centre, precision = 0.0, belief
    for _ in range(ROUNDS):
        pull, precision = -centre * belief, belief
        for one in usable:
            off, slope = _misfit(one, exp(centre))
            weight = _weight(off) * slope**2
            precision += weight
            pull += weight * off / slope
        centre += min(max(pull / precision, -LONGEST_STEP), LONGEST_STEP)
    return centre, precision


def _misfit(one: MeasuredGrowth, factor: float) -> tuple[float, float]:
    """How far a height lies above the one a factor gives, and how that moves with the factor's logarithm.

    Both in standard deviations of what is measured: two heights, and the model's growth between.
    """
    grown = factor * one.pace * one.stand_growth_mm
    said_mm = one.ceiling_mm * tanh(atanh(one.from_height_mm / one.ceiling_mm) + grown / one.ceiling_mm)
    slope_mm = grown * (1 - (said_mm / one.ceiling_mm) ** 2)
    doubt_mm = hypot(RULER_MM, one.from_doubt_mm, MODEL_SHARE * slope_mm)
    return (one.to_height_mm - said_mm) / doubt_mm, slope_mm / doubt_mm


def _weight(off: float) -> float:
    return 1.0 if abs(off) <= HUBER else HUBER / abs(off)
