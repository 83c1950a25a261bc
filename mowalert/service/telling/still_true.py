"""Whether advice that had to wait would be given again."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from mowalert.domain.grasses import Turf
from mowalert.domain.rounds import latest
from mowalert.domain.words import NoticeKind
from mowalert.service.policy import Policy
from mowalert.service.ports import Work
from mowalert.service.telling.deciding import decided, group_of, timetable_of


def still_true(
    work: Work, turf: Turf, policy: Policy, lawn_ids: Sequence[int], on: date, *, now: datetime
) -> bool:
    """Whether advice decided earlier for some lawns would be given again now.

    A message that waited, for quiet hours or a mail server, must not tell of a lawn that was cut
    or came under a hold meanwhile.
    """
    lawns = work.lawns.get(lawn_ids)
    keepers = work.keepers.get(sorted({lawn.keeper_id for lawn in lawns}))
    rounds = {record.round_id: record for record in work.rounds.all()}
    told = {record.lawn_id: record for lawn in lawns for record in work.outbox.told(lawn.lawn_id, limit=1)}
    if not lawns:
        return False
    record = rounds[lawns[0].round_id]
    group = group_of(record, latest(timetable_of(record), now=now))
    if group.occurrence.on != on:
        return False
    # What was told is already remembered on the lawn: decide as if it were not.
    blank = [replace(lawn, told_hold=None) for lawn in lawns]
    again = {
        lawn.lawn_id: notice
        for lawn, notice, _ in decided(work, turf, policy.max_age, group, blank, keepers, now=now)
    }
    return any(
        lawn_id in again and again[lawn_id].kind.value == said.kind for lawn_id, said in told.items()
    ) or any(said.kind in (NoticeKind.RELEASE, NoticeKind.NO_WEATHER) for said in told.values())
