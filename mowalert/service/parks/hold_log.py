"""The written log of holds as a supervisor reads it: by place, what happened, who was told and when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from mowalert.service.known import sites_named
from mowalert.service.park_records import HoldStep
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord


@dataclass(frozen=True, slots=True)
class LoggedStep:
    """What happened of a lawn's hold on a day; ``told`` and ``at``, the department's time, say who knew when.

    ``numbers`` explain it, by the names of the rule's own quantities, with units.
    """

    on: date
    site: str
    lawn: str
    turf_class: str
    district: str
    step: HoldStep
    reason: str
    numbers: dict[str, float]
    told: tuple[str, ...]
    at: datetime
    lawn_id: int
    hold_id: int


def hold_log(
    work: Work, keeper: KeeperRecord, *, first: date, last: date, sites: Sequence[str] = ()
) -> list[LoggedStep]:
    """Return the log of some days, both included, in order.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper : KeeperRecord
        The department.
    first : date
        First day.
    last : date
        Last day.
    sites : Sequence[str]
        Sites by name, key or office number; all if empty.

    Returns
    -------
    list[LoggedStep]
        A line a lawn and step, with the class and district of its hold.

    Raises
    ------
    InputError
        If there is no such site.
    """
    lawns = {lawn.lawn_id: lawn for lawn in work.lawns.of_keepers([keeper.keeper_id])}
    wanted = {site.site_id for site in sites_named(work, keeper.keeper_id, sites)}
    ids = [one for one, lawn in lawns.items() if lawn.site_id in wanted] if sites else None
    lines = work.parks.hold_log(keeper.keeper_id, first=first, last=last, lawn_ids=ids)
    holds = {
        hold.hold_id: hold for hold in work.parks.class_holds(keeper.keeper_id, first=date.min, last=last)
    }
    names = work.keepers.sites(sorted({lawns[line.lawn_id].site_id for line in lines}))
    zone = ZoneInfo(keeper.time_zone)
    return [
        LoggedStep(
            on=line.on,
            site=names[lawns[line.lawn_id].site_id].name,
            lawn=lawns[line.lawn_id].name,
            turf_class=holds[line.hold_id].turf_class,
            district=holds[line.hold_id].district,
            step=line.step,
            reason=line.reason.value,
            numbers=line.facts,
            told=line.told,
            at=line.at.astimezone(zone),
            lawn_id=line.lawn_id,
            hold_id=line.hold_id,
        )
        for line in lines
    ]
