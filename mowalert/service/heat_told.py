"""A day's crew heat that a list has told counts as told: nobody hears it twice in one morning."""

from datetime import datetime

from mowalert.domain.crew_heat import FIRST_CAUTION_F
from mowalert.domain.notices import CrewHeat
from mowalert.service.park_records import HeatNotice
from mowalert.service.ports import Work

EVENING, WORSE = "evening", "worse"
"""A day's first notice, and the one that says that it got worse."""


def note_told(work: Work, keeper_id: int, heat: CrewHeat | None, *, now: datetime) -> None:
    """Remember that a list told a day's heat, where that passes the employer's first caution."""
    plan = work.parks.heat_plan(keeper_id)
    first_f = FIRST_CAUTION_F if plan is None or plan.first_f is None else plan.first_f
    if heat is not None and heat.heat_index_f >= first_f:
        work.parks.note_heat(HeatNotice(keeper_id, heat.on, EVENING, heat.heat_index_f, heat.strong, now))
