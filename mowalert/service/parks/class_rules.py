"""How an organisation keeps its turf classes: heights, limits, holds that count, and closed days."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from mowalert.domain.grasses import Turf
from mowalert.domain.holds import LASTING
from mowalert.domain.thirds import THIRD
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.service.crew_records import SiteWork
from mowalert.service.growing.anchoring import kept_at, place_kept
from mowalert.service.known import organisation, reason_named, site_finder
from mowalert.service.local.where import Where, lawns_of
from mowalert.service.park_records import ClassRule
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeptOff, LawnRecord
from mowalert.service.region.guides import allow_again, keep_off
from mowalert.service.within import Within

LEAST_THIRD = 0.1
LONGEST_TEXT = 300
LONGEST_DISTRICT = 200


def place_in_districts(store: Store, keeper: str, told: Sequence[tuple[str, str]]) -> None:
    """Say which district sites lie in.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    told : Sequence[tuple[str, str]]
        Sites by name, key or office number, each with its district; empty for none.

    Raises
    ------
    InputError
        If a site is not known; then nothing is kept.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        known, find = work.crews.sites(of.keeper_id), site_finder(work, of.keeper_id)
        placed = {
            site.site_id: replace(
                known.get(site.site_id, SiteWork(site.site_id, of.keeper_id)),
                district=district.strip()[:LONGEST_DISTRICT],
            )
            for name, district in told
            for site in find(name)
        }
        work.crews.keep_sites(list(placed.values()))
        work.commit()


def keep_class(store: Store, turf: Turf, keeper: str, rule: ClassRule) -> tuple[ClassRule, int]:
    """Keep how a turf class is kept, and keep its lawns so.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    keeper : str
        The organisation; the rule's own number is not looked at.
    rule : ClassRule
        The class.

    Returns
    -------
    tuple[ClassRule, int]
        The rule as it is kept, and how many lawns were changed; they grow on from where they stand.

    Raises
    ------
    InputError
        If no lawn is in the class, a height or a limit cannot be (never more than a third), or a hold that
        it is to ignore is not the weather's.
    """
    _check(rule)
    with store.begin() as work:
        of = organisation(work, keeper)
        kept = replace(rule, keeper_id=of.keeper_id, turf_class=rule.turf_class.strip().casefold())
        lawns = lawns_of(work, of.keeper_id, Where(turf_class=rule.turf_class))
        changed = [(lawn, one) for lawn in lawns if (one := _kept(work, turf, lawn, kept)) is not None]
        for _, lawn in changed:
            work.lawns.change(lawn)
        place_kept(work, turf, changed)
        work.parks.keep_rule(kept)
        work.commit()
    return kept, len(changed)


def _check(rule: ClassRule) -> None:
    for reason in rule.ignores:
        reason_named(reason, LASTING)
    if not rule.turf_class.strip():
        raise InputError("say which turf class")
    if rule.third is not None and not LEAST_THIRD <= rule.third <= THIRD + 1e-9:
        raise InputError(f"a limit of {rule.third:g}; allowed is {LEAST_THIRD:g} to a third")
    if len(rule.allowed) > LONGEST_TEXT or len(rule.call) > 200:
        raise InputError("what is allowed is at most 300 letters, whom to call at most 200")


def _kept(work: Work, turf: Turf, lawn: LawnRecord, rule: ClassRule) -> LawnRecord | None:
    """The lawn as its class is kept; none if it already is."""
    grass = turf.grasses[lawn.grass]
    height_mm = rule.height_mm if rule.height_mm is not None else lawn.chosen_mm
    if not grass.lowest_mm <= height_mm <= grass.highest_mm:
        raise InputError(
            f"lawn {lawn.lawn_id}: {grass.name} is kept at {grass.lowest_mm:g} to {grass.highest_mm:g} mm"
        )
    third = rule.third if rule.third is not None else lawn.third
    if (height_mm, third) == (lawn.chosen_mm, lawn.third):
        return None
    return replace(kept_at(work, turf, lawn, height_mm), third=third, follows_guide=False)


def close(
    store: Store,
    keeper: str,
    where: Where,
    *,
    reason: HoldReason,
    first_on: date,
    last_on: date,
    note: str,
    now: datetime,
) -> list[KeptOff]:
    """Leave lawns alone on some days: a closure, an event, a treatment.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    where : Where
        Which lawns.
    reason : HoldReason
        ``event``, ``treatment``, ``nesting`` or ``noise``.
    first_on : date
        First day.
    last_on : date
        Last day.
    note : str
        What is said with it.
    now : datetime
        The moment, aware.

    Returns
    -------
    list[KeptOff]
        What was kept, one entry a lawn; all of them or none.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        within = Within(work)
        kept = [
            keep_off(
                within, lawn.lawn_id, reason=reason, first_on=first_on, last_on=last_on, note=note, now=now
            )
            for lawn in lawns_of(work, of.keeper_id, where)
        ]
        work.commit()
    return kept


def reopen(
    store: Store,
    keeper: str,
    where: Where,
    *,
    reason: HoldReason,
    first_on: date | None,
    last_on: date | None,
    now: datetime,
) -> list[KeptOff]:
    """Take back what was closed: days that are not over yet, of lawns named as when they were closed.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    where : Where
        Which lawns.
    reason : HoldReason
        What they were closed for.
    first_on : date | None
        First day of what is taken back; any if none.
    last_on : date | None
        Its last day; any if none.
    now : datetime
        The moment, aware.

    Returns
    -------
    list[KeptOff]
        What was taken back, one entry a lawn and closure; all of it or none.

    Raises
    ------
    InputError
        If nothing of these lawns is closed so.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        lawns = lawns_of(work, of.keeper_id, where)
        closed = work.lawns.kept_off([lawn.lawn_id for lawn in lawns], since=of.today(now))
        wanted = [
            days.kept_off_id
            for _, entries in sorted(closed.items())
            for days in entries
            if days.reason is reason and first_on in (None, days.first_on) and last_on in (None, days.last_on)
        ]
        if not wanted:
            raise InputError(f"none of these lawns is closed for {reason} then")
        within = Within(work)
        opened = [allow_again(within, kept_off_id, now=now) for kept_off_id in wanted]
        work.commit()
    return opened
