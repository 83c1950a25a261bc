"""Deciding: what is said of some lawns in a round, one by one."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from mowalert.domain.decide import Outlook, decide
from mowalert.domain.grasses import Turf
from mowalert.domain.notices import Notice
from mowalert.domain.rounds import Occurrence, Timetable, round_on
from mowalert.domain.words import KeeperKind
from mowalert.service.growing.outlook import StandDays, load_stands, outlook_for
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, LawnRecord, RoundRecord
from mowalert.service.region.guides import speakers

REASONS_LOOK_BACK_DAYS = 10
"""A hold's numbers look as far back: the mean of ten days, the rain of two."""


@dataclass(frozen=True, slots=True)
class Group:
    """Rounds that have come and look the same days ahead: decided together."""

    occurrence: Occurrence
    daily_list: bool
    weekdays: int
    mixed: bool
    rounds: list[RoundRecord]

    @property
    def round_ids(self) -> list[int]:
        """Their ids."""
        return [record.round_id for record in self.rounds]


def group_of(record: RoundRecord, occurrence: Occurrence) -> Group:
    """Return one round as a group of its own."""
    return Group(occurrence, record.daily_list, record.weekdays, record.mixed, [record])


def timetable_of(record: RoundRecord) -> Timetable:
    """Return a stored round as its timetable."""
    return Timetable(record.daily_list, record.time_zone, record.weekdays, record.minute_of_day)


def decided(
    work: Work,
    turf: Turf,
    max_age: timedelta,
    group: Group,
    lawns: Sequence[LawnRecord],
    keepers: Mapping[int, KeeperRecord],
    *,
    now: datetime,
) -> Iterable[tuple[LawnRecord, Notice, StandDays]]:
    """Decide lawns one by one; those without a place on a curve have nothing said of them.

    Parameters
    ----------
    work : Work
        An open transaction.
    turf : Turf
        Grasses and soils.
    max_age : timedelta
        The age at which weather is too old.
    group : Group
        The rounds.
    lawns : Sequence[LawnRecord]
        Their lawns that may have something said of them.
    keepers : Mapping[int, KeeperRecord]
        Whose they are, by id.
    now : datetime
        The moment, aware.

    Yields
    ------
    tuple[LawnRecord, Notice, StandDays]
        What is said, and the stand it is said from.
    """
    on = group.occurrence.on
    since = on - timedelta(days=REASONS_LOOK_BACK_DAYS)
    stands = load_stands(work, sorted({lawn.stand_id for lawn in lawns}), since=since)
    sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
    table = timetable_of(group.rounds[0])
    speak = speakers(work, turf, lawns, today=on)
    # Lawns of one stand that are mown in the same hours see the same days.
    outlooks: dict[tuple[int, tuple[int, int]], Outlook] = {}
    for lawn in lawns:
        keeper, stand = keepers[lawn.keeper_id], stands.get(lawn.stand_id)
        if stand is None or lawn.anchor_g_mm is None or keeper.is_paused(on):
            continue
        facts = speak.facts(lawn, sites[lawn.site_id], turf, today=on)
        seen = lawn.stand_id, facts.mowing_hours
        if seen not in outlooks:
            outlooks[seen] = outlook_for(stand, facts.mowing_hours, today=on, now=now, max_age=max_age)
        round_ = round_on(
            table,
            group.occurrence,
            tells_all_holds=keeper.tells_all_holds,
            by_class=keeper.kind is KeeperKind.PARKS,
        )
        notice = decide(facts, speak.outlook(lawn, outlooks[seen]), round_)
        if notice is not None:
            yield lawn, notice, stand
