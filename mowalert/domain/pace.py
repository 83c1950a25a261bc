"""How often a height asks for a cut while the grass grows well: for somebody who still has to choose one."""

from mowalert.domain.grasses import Grass
from mowalert.domain.growth import growth_to_reach_mm, lawn_pace
from mowalert.domain.thirds import THIRD, limit_height_mm

GOOD_SHARE = 1.1
"""Growth of a growing month, the spring flush included, against a day at the optimum; working value, held
against real seasons of watered ryegrass in the tests."""
MONTH_D = 30.0


def cuts_a_month(grass: Grass, chosen_mm: float, *, third: float = THIRD) -> float:
    """Return how many cuts a good growing month takes at a height.

    Parameters
    ----------
    grass : Grass
        The grass, fully fed.
    chosen_mm : float
        Height it is cut to. [mm]
    third : float
        Largest share of the blade a cut may take. [-]

    Returns
    -------
    float
        Cuts in thirty days, each on the last day before it would take more; 0 where it is never due.
    """
    need_mm = growth_to_reach_mm(
        limit_height_mm(chosen_mm, third),
        from_height_mm=chosen_mm,
        pace=lawn_pace(chosen_mm),
        ceiling_mm=grass.ceiling_mm,
    )
    return 0.0 if need_mm is None else MONTH_D * GOOD_SHARE * grass.g50_mm_d / need_mm
