"""Lawns whose watering is off grow with a twin of their stand that goes without water for that time.

A lawn changes stands without its height changing: both have grown alike up to some day, and there it is put
at the height it had.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.stand import StandKey
from mowalert.domain.words import Watering
from mowalert.service.growing.anchoring import place
from mowalert.service.growing.grow import SETTLE_DAYS, anchor_at, growth_on
from mowalert.service.growing.kept_curves import AHEAD_DAYS, KEPT_DAYS
from mowalert.service.local.restrictions import holds_for
from mowalert.service.park_records import RestrictionKind
from mowalert.service.ports import Store, Work
from mowalert.service.records import AnchorUpdate, GrowthRecord, LawnRecord, StandRecord

REMEMBERED_D = KEPT_DAYS + SETTLE_DAYS
"""Days after which no day of a kept curve is dry any more, and soil is like soil that always was watered."""
SHORT_D = SETTLE_DAYS + 1
"""Days of water between two dry times that count as none: a stand has one dry time. Working value."""
FOR_EVER = date.max
Span = tuple[date, date]


def follow_watering(store: Store, turf: Turf, *, today: date) -> int:
    """Move lawns to stands with the dry days that are known for them, and back when those are long over.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    today : date
        The day.

    Returns
    -------
    int
        How many lawns were moved.
    """
    with store.begin() as work:
        dry = _dry_days(work, since=today - timedelta(days=REMEMBERED_D))
        lawns = work.lawns.get(sorted({*dry, *work.parks.dry_lawns()}))
        stands = work.stands.get(sorted({lawn.stand_id for lawn in lawns}))
        moves = [
            move
            for lawn in lawns
            if (move := _move(work, lawn, stands[lawn.stand_id], dry.get(lawn.lawn_id, []), today))
        ]
        _carry_out(work, turf, moves)
        work.commit()
    return len(moves)


@dataclass(frozen=True, slots=True)
class _Move:
    """A lawn, the stand it leaves, and the one it goes to.

    Up to ``alike_until`` both have grown alike. With ``goes_on`` the new one may begin as the old one stands:
    no day that is settled is seen otherwise than before.
    """

    lawn: LawnRecord
    to_stand_id: int
    alike_until: date
    goes_on: bool


def _move(
    work: Work, lawn: LawnRecord, stand: StandRecord, spans: Sequence[Span], today: date
) -> _Move | None:
    """How a lawn comes to the stand it belongs to; none if it is there."""
    if stand.key.watering is not Watering.REGULAR:
        return None
    before, now = span_of(stand.key), span_now(spans, today)
    if before == now:
        return None
    return _Move(
        lawn,
        work.stands.ensure(stand.cell_id, _with_dry(stand.key, now)),
        alike_until=alike_until(before, now, today),
        goes_on=_seen_alike(before, spans, today),
    )


def span_of(key: StandKey) -> Span | None:
    """Return a stand's first and last dry day; none if it always has its water."""
    if not key.dry_from:
        return None
    return date.fromordinal(key.dry_from), date.fromordinal(key.dry_until) if key.dry_until else FOR_EVER


def _with_dry(key: StandKey, dry: Span | None) -> StandKey:
    if dry is None:
        return replace(key, dry_from=0, dry_until=0)
    first, last = dry
    return replace(key, dry_from=first.toordinal(), dry_until=0 if last == FOR_EVER else last.toordinal())


def span_now(spans: Sequence[Span], today: date) -> Span | None:
    """Return the dry time that a lawn's curve must know today.

    Parameters
    ----------
    spans : Sequence[Span]
        First and last days without water, in any order.
    today : date
        The day.

    Returns
    -------
    Span | None
        The newest that has begun or begins within the forecast; the one before it until its days are settled.
        None long after the last one.
    """
    oldest = today - timedelta(days=REMEMBERED_D)
    ahead = today + timedelta(days=AHEAD_DAYS)
    known = [(first, last) for first, last in _joined(spans) if first <= ahead and last >= oldest]
    if len(known) > 1 and (today - known[-2][1]).days <= SHORT_D:
        return known[-2]
    return known[-1] if known else None


def _joined(spans: Sequence[Span]) -> list[Span]:
    """Spans in order of day; those that overlap or lie close together are one."""
    joined: list[Span] = []
    for first, last in sorted(span for span in spans if span[0] <= span[1]):
        if joined and (joined[-1][1] == FOR_EVER or (first - joined[-1][1]).days <= SHORT_D):
            joined[-1] = joined[-1][0], max(last, joined[-1][1])
        else:
            joined.append((first, last))
    return joined


def alike_until(before: Span | None, now: Span | None, today: date) -> date:
    """Return the last day up to which stands of two dry times have grown alike, today at the latest.

    Parameters
    ----------
    before : Span | None
        The one's dry time.
    now : Span | None
        The other's.
    today : date
        The day. A dry time that is long over makes no difference any more.

    Returns
    -------
    date
        The day.
    """
    oldest = today - timedelta(days=REMEMBERED_D)
    one, other = (span if span and span[1] >= oldest else None for span in (before, now))
    if one == other:
        return today
    if one and other and one[0] == other[0]:
        return min(today, one[1], other[1])
    first, *later = sorted(span for span in (one, other) if span)
    differs_on = later[0][0] if later and first[1] < later[0][0] else first[0]
    return min(today, differs_on - timedelta(days=1))


def _seen_alike(before: Span | None, spans: Sequence[Span], today: date) -> bool:
    """Whether days that are settled were dry by the old stand just where they were."""
    was = [before] if before else []
    settled = (today - timedelta(days=ago) for ago in range(SETTLE_DAYS - 1, KEPT_DAYS))
    return all(_is_dry(was, on) == _is_dry(spans, on) for on in settled)


def _is_dry(spans: Iterable[Span], on: date) -> bool:
    return any(first <= on <= last for first, last in spans)


def _carry_out(work: Work, turf: Turf, moves: Sequence[_Move]) -> None:
    """Move lawns, each at the height it has; those without a place on a curve wait for the next one."""
    stand_ids = {move.lawn.stand_id for move in moves} | {move.to_stand_id for move in moves}
    growth = work.stands.growth(sorted(stand_ids))
    placed, waiting = [], []
    for move in moves:
        lawn = replace(move.lawn, stand_id=move.to_stand_id)
        work.lawns.change(lawn)
        source = growth.get(move.lawn.stand_id)
        target = _begun(work, growth, move)
        if source is None or target is None or lawn.anchor_g_mm is None:
            waiting.append(replace(lawn, anchor_g_mm=None))
        else:
            placed.append(_carried(turf, lawn, lawn.anchor_g_mm, source, target, move.alike_until))
    work.lawns.anchor(placed)
    place(work, turf, waiting)


def _begun(work: Work, growth: dict[int, GrowthRecord], move: _Move) -> GrowthRecord | None:
    """The new stand's curve; where nobody has grown with it of late it goes on from the old one's."""
    source, target = growth.get(move.lawn.stand_id), growth.get(move.to_stand_id)
    if source is None or not move.goes_on or (target is not None and target.as_of >= source.as_of):
        return target
    growth[move.to_stand_id] = begun = replace(source, stand_id=move.to_stand_id)
    work.stands.save_growth([begun])
    return begun


def _carried(
    turf: Turf,
    lawn: LawnRecord,
    anchor_g_mm: float,
    source: GrowthRecord,
    target: GrowthRecord,
    alike_until: date,
) -> AnchorUpdate:
    """The lawn's anchor on the new curve: on a day both have in common it has grown as much as it had."""
    on = max(alike_until, lawn.anchored_on, source.curve_from, target.curve_from)
    on = min(on, source.as_of, target.as_of)
    growth_mm = anchor_g_mm + growth_on(target, on) - growth_on(source, on)
    return anchor_at(lawn, turf, on=lawn.anchored_on, growth_mm=growth_mm, assumed=lawn.anchor_assumed)


def _dry_days(work: Work, *, since: date) -> Mapping[int, Sequence[Span]]:
    """First and last dry days by lawn: of irrigation that is off, and of bans."""
    spans: dict[int, list[Span]] = {}
    for off in work.parks.watering_off(None, since=since):
        spans.setdefault(off.lawn_id, []).append((off.first_on, off.last_on or FOR_EVER))
    for lawn_id, span in _banned(work, since):
        spans.setdefault(lawn_id, []).append(span)
    return spans


def _banned(work: Work, since: date) -> Iterable[tuple[int, Span]]:
    """Lawns in places where watering is forbidden, and when."""
    for keeper_id, rules in work.parks.restrictions(None, since=since).items():
        bans = [rule for rule in rules if rule.kind is RestrictionKind.WATERING_OFF]
        if not bans:
            continue
        lawns = work.lawns.of_keepers([keeper_id])
        sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
        for rule in bans:
            held = {site_id for site_id, site in sites.items() if holds_for(rule, site, on=rule.first_on)}
            for lawn in lawns:
                if lawn.site_id in held:
                    yield lawn.lawn_id, (rule.first_on, rule.last_on or FOR_EVER)
