"""What was said of lawns is remembered: notice by notice, and on each lawn."""

from collections.abc import Sequence
from datetime import datetime

from pydantic import TypeAdapter

from mowalert.domain.notices import Digest, Notice
from mowalert.domain.words import DigestKind, NoticeKind, Silence
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, Said, ToldRecord
from mowalert.service.telling.deciding import Group
from mowalert.service.telling.digests import in_order

FACTS = TypeAdapter(Notice)


def remember(
    work: Work,
    keeper: KeeperRecord,
    group: Group,
    notices: Sequence[Notice],
    digest: Digest | None,
    now: datetime,
) -> list[ToldRecord]:
    """Keep what was decided of lawns, also where it is told with their class or not at all."""
    on = group.occurrence.on
    if digest is None and all(notice.kind is NoticeKind.NO_WEATHER for notice in notices):
        return []
    if digest is not None and digest.kind is DigestKind.NO_WEATHER:
        work.keepers.note_no_weather([keeper.keeper_id], on)
    elif keeper.no_weather_on is not None:
        work.keepers.note_no_weather([keeper.keeper_id], None)
    return [
        ToldRecord(
            told_id=0,
            keeper_id=keeper.keeper_id,
            lawn_id=notice.lawn_id,
            round_id=group.rounds[0].round_id,
            on=on,
            kind=notice.kind.value,
            reason=notice.reason.value if notice.reason else None,
            decided_at=now,
            facts=FACTS.dump_python(notice, mode="json"),
        )
        for notice in in_order(notices)
    ]


def said_of(keeper: KeeperRecord, notices: Sequence[Notice]) -> list[Said]:
    """Return what notices leave to be remembered on their lawns."""
    return [said for notice in notices if (said := _said(notice, keeper)) is not None]


def _said(notice: Notice, keeper: KeeperRecord) -> Said | None:
    if notice.kind is NoticeKind.HOLD:
        return Said(notice.lawn_id, notice.reason, notice.on, None, None)
    if notice.kind is NoticeKind.NO_WEATHER or notice.kind is NoticeKind.MAY_MOW:
        return None
    counts = keeper.silence is Silence.CUT and notice.best_on is not None
    return Said(
        notice.lawn_id,
        None,
        None,
        notice.best_on if counts else None,
        notice.cut_to_mm if counts else None,
    )
