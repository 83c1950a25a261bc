"""A day's crew heat that a list has told counts as told: nobody hears it twice in one morning."""

from datetime import datetime

from mowalert.domain.notices import CrewHeat
from mowalert.service.heat_days import heat_plan_of
from mowalert.service.park_records import HeatNotice, HeatStep
from mowalert.service.ports import Work


def note_told(work: Work, keeper_id: int, heat: CrewHeat | None, *, now: datetime) -> None:
    """Remember that a list told a day's heat, where that passes the employer's first caution."""
    if heat is not None and heat.heat_index_f >= heat_plan_of(work, keeper_id).first_caution_f:
        told = HeatNotice(keeper_id, heat.on, HeatStep.EVENING, heat.heat_index_f, heat.strong, now)
        work.parks.note_heat(told)
