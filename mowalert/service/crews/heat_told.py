"""A day's crew heat that a list has told counts as told, where the list reached all who are to hear of it."""

from collections.abc import Collection
from datetime import datetime

from mowalert.domain.notices import CrewHeat
from mowalert.service.crew_records import Role
from mowalert.service.crews.heat_days import heat_plan_of
from mowalert.service.park_records import HeatNotice, HeatStep
from mowalert.service.ports import Work

HEAT_ROLES = (Role.DISPATCHER, Role.CREW_LEAD, Role.SUPERVISOR)
"""Who hears of heat: whoever sends people out, leads them or answers for them."""


def note_told(
    work: Work, keeper_id: int, heat: CrewHeat | None, *, heard: Collection[int], now: datetime
) -> None:
    """Remember that a list told a day's heat, where that passes the employer's first caution.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper_id : int
        The organisation.
    heat : CrewHeat | None
        The heat; none if the list told of none.
    heard : Collection[int]
        Ids of contacts whom the list reached. While any other is to hear of heat it does not count.
    now : datetime
        The moment, aware.
    """
    if heat is None or heat.heat_index_f < heat_plan_of(work, keeper_id).first_caution_f:
        return
    contacts = work.crews.contacts(keeper_id)
    if all(one.contact_id in heard for one in contacts if one.role in HEAT_ROLES):
        told = HeatNotice(keeper_id, heat.on, HeatStep.EVENING, heat.heat_index_f, heat.strong, now)
        work.parks.note_heat(told)
