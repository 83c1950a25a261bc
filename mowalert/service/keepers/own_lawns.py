"""What a keeper's own programs may see: this keeper's lawns, how they stand, what is due and what is held."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.notices import Notice
from mowalert.domain.stand import StandKey
from mowalert.errors import InputError
from mowalert.service.lawns.look import LawnOutlook, SeenLawn, due_of, held_of, lawn_outlook, see_lawns
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord, KeptOff, LawnRecord, SiteRecord, ToldRecord


class NotThereError(InputError):
    """Something that is not this keeper's, or not at all: who asks cannot tell which."""


@dataclass(frozen=True, slots=True)
class OwnLawn:
    """A lawn with all that is set for it; ``height_mm`` is today's, none without weather."""

    lawn: LawnRecord
    site: SiteRecord
    stand: StandKey
    grass: Grass
    height_mm: float | None
    guide_version: int | None
    kept_off: tuple[KeptOff, ...]


def own_lawns(
    store: Store, turf: Turf, policy: Policy, keeper: KeeperRecord, *, after: int, limit: int, now: datetime
) -> tuple[list[OwnLawn], int | None]:
    """List a keeper's lawns a page at a time.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        Age at which weather is too old.
    keeper : KeeperRecord
        Whose.
    after : int
        The last lawn of the page before; 0 for the first page.
    limit : int
        Lawns on a page.
    now : datetime
        The moment.

    Returns
    -------
    tuple[list[OwnLawn], int | None]
        Lawns in order of number, and what to ask the next page after; none if this is the last.
    """
    with store.begin() as work:
        found = work.lawns.page(after=after, limit=limit + 1, keeper_id=keeper.keeper_id)
        shown = found[:limit]
        lawns = _with_all(work, turf, policy, keeper, shown, now)
    return lawns, shown[-1].lawn_id if len(found) > limit else None


def own_lawn(
    store: Store, turf: Turf, policy: Policy, keeper: KeeperRecord, lawn_id: int, *, now: datetime
) -> OwnLawn:
    """Show one lawn; NotThereError if it is not this keeper's."""
    with store.begin() as work:
        (lawn,) = _with_all(work, turf, policy, keeper, [lawn_of(work, keeper, lawn_id)], now)
    return lawn


def own_outlook(
    store: Store, turf: Turf, policy: Policy, keeper: KeeperRecord, lawn_id: int, *, now: datetime
) -> LawnOutlook:
    """Show a lawn's days from today on; NotThereError if it is not this keeper's or has no weather yet."""
    with store.begin() as work:
        lawn_of(work, keeper, lawn_id)
        seen = see_lawns(work, turf, policy, [lawn_id], now)
    if not seen:
        raise NotThereError(f"lawn {lawn_id} has no weather yet; it comes with the next night")
    return lawn_outlook(seen[0])


def own_notices(store: Store, keeper: KeeperRecord, lawn_id: int, *, limit: int) -> list[ToldRecord]:
    """Show what was told of a lawn, the newest first; NotThereError if it is not this keeper's."""
    with store.begin() as work:
        lawn_of(work, keeper, lawn_id)
        return work.outbox.told(lawn_id, limit=limit)


def own_due(store: Store, turf: Turf, policy: Policy, keeper: KeeperRecord, *, now: datetime) -> list[Notice]:
    """Every lawn of a keeper that may or must be cut, the most urgent first; one under a hold says so."""
    return due_of(_seen(store, turf, policy, keeper, now))


def own_held(
    store: Store, turf: Turf, policy: Policy, keeper: KeeperRecord, *, now: datetime
) -> list[Notice]:
    """Every lawn of a keeper under a hold today, with its reason and numbers."""
    return held_of(_seen(store, turf, policy, keeper, now))


def lawn_of(work: Work, keeper: KeeperRecord, lawn_id: int) -> LawnRecord:
    """Return a keeper's lawn; NotThereError if it is another's, or there is none."""
    found = work.lawns.get([lawn_id])
    if not found or found[0].keeper_id != keeper.keeper_id:
        raise NotThereError(f"there is no lawn {lawn_id} among yours")
    return found[0]


def _seen(store: Store, turf: Turf, policy: Policy, keeper: KeeperRecord, now: datetime) -> list[SeenLawn]:
    with store.begin() as work:
        lawn_ids = [lawn.lawn_id for lawn in work.lawns.of_keepers([keeper.keeper_id])]
        return see_lawns(work, turf, policy, lawn_ids, now)


def _with_all(
    work: Work,
    turf: Turf,
    policy: Policy,
    keeper: KeeperRecord,
    lawns: Sequence[LawnRecord],
    now: datetime,
) -> list[OwnLawn]:
    lawn_ids = [lawn.lawn_id for lawn in lawns]
    sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
    stands = work.stands.get(sorted({lawn.stand_id for lawn in lawns}))
    kept_off = work.lawns.kept_off(lawn_ids, since=keeper.today(now))
    heights = _heights(see_lawns(work, turf, policy, lawn_ids, now))
    newest = {record.guide_id: record.version for record in work.guides.newest()}
    return [
        OwnLawn(
            lawn=lawn,
            site=sites[lawn.site_id],
            stand=stands[lawn.stand_id].key,
            grass=turf.grasses[lawn.grass],
            height_mm=heights.get(lawn.lawn_id),
            guide_version=newest.get(lawn.guide or ""),
            kept_off=tuple(kept_off.get(lawn.lawn_id, ())),
        )
        for lawn in lawns
    ]


def _heights(seen: Sequence[SeenLawn]) -> Mapping[int, float]:
    return {
        case.lawn.lawn_id: case.facts.height_at(float(case.outlook.growth_mm[case.outlook.at(case.today)]))
        for case in seen
    }
