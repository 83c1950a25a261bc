"""Which lawns somebody speaks of who only says that it is mowed: those last advised."""

from collections.abc import Sequence
from datetime import date, timedelta

from mowalert.domain.words import NoticeKind
from mowalert.service.ports import Work
from mowalert.service.records import LawnRecord

TOLD_DAYS = 14
"""Days for which a report may answer what was told."""
CUTS = (NoticeKind.MOW, NoticeKind.OVERGROWN, NoticeKind.RELEASE)


def last_advised(work: Work, lawns: Sequence[LawnRecord], *, today: date) -> list[LawnRecord]:
    """Return the lawns that were last told to be cut.

    Parameters
    ----------
    work : Work
        The transaction.
    lawns : Sequence[LawnRecord]
        All lawns that could be meant.
    today : date
        The keeper's local day.

    Returns
    -------
    list[LawnRecord]
        Those told on the newest day of a fortnight on which any was, and those whose advised day is
        still open; without those reported since, if any are left then.
    """
    told_on = _told_on(work, lawns, today)
    newest = max(told_on.values(), default=today)
    advised = [lawn for lawn in lawns if lawn.advised_on or told_on.get(lawn.lawn_id) == newest]
    left = [lawn for lawn in advised if not _is_reported(work, lawn, told_on.get(lawn.lawn_id, newest))]
    return left or advised


def _told_on(work: Work, lawns: Sequence[LawnRecord], today: date) -> dict[int, date]:
    """When each lawn was last told to be cut; a release that names no day is no such advice."""
    ids, first = [lawn.lawn_id for lawn in lawns], today - timedelta(days=TOLD_DAYS)
    told = work.outbox.told_between(ids, CUTS, first=first, last=today)
    days = {lawn_id: [one.on for one in said if one.advised_on] for lawn_id, said in told.items()}
    return {lawn_id: max(on) for lawn_id, on in days.items() if on}


def _is_reported(work: Work, lawn: LawnRecord, since: date) -> bool:
    events = work.lawns.events(lawn.lawn_id)
    return any(one.kind == "mowing" and not one.assumed and one.on >= since for one in events)
