"""What a company can hand its client: a property's season, visit by visit, with holds and skips and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from mowalert.domain.lookback import Told
from mowalert.domain.words import HoldReason, NoticeKind, Units
from mowalert.errors import InputError
from mowalert.service.crew_records import Outcome, VisitRecord
from mowalert.service.known import organisation, sites_named
from mowalert.service.lawns.cuts import Cut, cuts_between
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord, LawnRecord, SiteRecord

LONGEST_D = 800


@dataclass(frozen=True, slots=True)
class RecordLine:
    """One day at one lawn: a cut, a skipped visit, or a hold. Heights in mm, the share of the blade."""

    on: date
    lawn: str
    what: str
    height_mm: float | None = None
    removed: float | None = None
    limit: float | None = None
    reason: str = ""
    until: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ClientRecord:
    """A property's days between two dates; nothing of any other client, and no way in."""

    keeper_name: str
    site_name: str
    client: str
    first: date
    last: date
    units: Units
    lines: tuple[RecordLine, ...]

    @property
    def cuts(self) -> list[RecordLine]:
        """What was cut."""
        return [line for line in self.lines if line.what == "cut"]

    @property
    def within_limit(self) -> int:
        """Cuts that took no more than the lawn's limit."""
        return sum(
            line.removed is not None and line.limit is not None and line.removed <= line.limit + 0.005
            for line in self.cuts
        )


def client_record(store: Store, keeper: str, site: str, *, first: date, last: date) -> ClientRecord:
    """Put a property's record together.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    site : str
        The property: its name, key or office number.
    first : date
        First day.
    last : date
        Last day.

    Returns
    -------
    ClientRecord
        Cuts, skipped visits and holds in order of day.

    Raises
    ------
    InputError
        If there is no such property, it is one of several, or the days cannot be.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        return record_of(work, of, site_named(work, of, site), first=first, last=last)


def site_named(work: Work, of: KeeperRecord, name: str) -> SiteRecord:
    """Return one of an organisation's properties; InputError where there is none, or are several."""
    found = sites_named(work, of.keeper_id, [name])
    if len(found) > 1:
        raise InputError(f"{name!r} is the name of {len(found)} sites; say its number")
    return found[0]


def record_of(work: Work, of: KeeperRecord, place: SiteRecord, *, first: date, last: date) -> ClientRecord:
    """Put a known property's record together; InputError where the days cannot be."""
    if not 0 <= (last - first).days <= LONGEST_D:
        raise InputError(f"from {first} to {last}: at most {LONGEST_D} days, in this order")
    lawns = [one for one in work.lawns.of_keepers([of.keeper_id]) if one.site_id == place.site_id]
    known = work.crews.sites(of.keeper_id).get(place.site_id)
    lines = _lines(work, of.keeper_id, lawns, first, last)
    return ClientRecord(
        of.name, place.name, known.client if known else "", first, last, of.units, tuple(lines)
    )


def _lines(
    work: Work, keeper_id: int, lawns: Sequence[LawnRecord], first: date, last: date
) -> list[RecordLine]:
    ids = [lawn.lawn_id for lawn in lawns]
    visits = work.crews.visits(keeper_id, first=first, last=last, lawn_ids=ids)
    cuts = cuts_between(work, ids, visits, first=first, last=last)
    skipped = [visit for visit in visits if visit.outcome is Outcome.SKIPPED]
    told = work.outbox.told_between(ids, [NoticeKind.HOLD, NoticeKind.RELEASE], first=first, last=last)
    lines = []
    for lawn in lawns:
        lines += [_cut(lawn, cut) for cut in cuts if cut.lawn_id == lawn.lawn_id]
        lines += [_skipped(lawn, visit) for visit in skipped if visit.lawn_id == lawn.lawn_id]
        lines += _held(lawn, told.get(lawn.lawn_id, ()))
    return sorted(lines, key=lambda line: (line.on, line.lawn, line.what))


def _cut(lawn: LawnRecord, cut: Cut) -> RecordLine:
    return RecordLine(cut.on, lawn.name, "cut", cut.height_mm, cut.removed, lawn.third, note=cut.note)


def _skipped(lawn: LawnRecord, visit: VisitRecord) -> RecordLine:
    reason = visit.reason.value if visit.reason else ""
    return RecordLine(visit.on, lawn.name, "skipped", reason=reason, note=visit.note)


def _held(lawn: LawnRecord, told: Sequence[Told]) -> list[RecordLine]:
    """Holds from their start to their release, as they were told."""
    lines: list[RecordLine] = []
    open_since: tuple[date, HoldReason | None] | None = None
    for one in told:
        if one.kind is NoticeKind.HOLD and open_since is None:
            open_since = one.on, one.reason
        elif one.kind is NoticeKind.RELEASE and open_since is not None:
            lines.append(_hold(lawn, *open_since, one.on))
            open_since = None
    return lines if open_since is None else [*lines, _hold(lawn, *open_since, None)]


def _hold(lawn: LawnRecord, since: date, reason: HoldReason | None, until: date | None) -> RecordLine:
    return RecordLine(since, lawn.name, "hold", reason=reason.value if reason else "", until=until)
