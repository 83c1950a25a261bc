"""What is kept about a person, shown whole, and forgotten for good when they ask."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date, datetime, timedelta
from enum import Enum
from typing import Any

from mowalert.links import Links
from mowalert.service.ports import Store, Work

MOST_NOTICES = 1000
TRIES_COUNT_FOR = timedelta(days=60)
"""Longer than any rule looks back: the bounces of two weeks are the longest."""


def own_data(store: Store, keeper_id: int) -> dict[str, Any] | None:
    """Return everything that is kept about a keeper, as plain values.

    Parameters
    ----------
    store : Store
        Where it is kept.
    keeper_id : int
        Whose.

    Returns
    -------
    dict[str, Any] | None
        Keeper, sites, lawns, reports, notices, messages, and an organisation's work; none if there is no
        such keeper.
    """
    with store.begin() as work:
        keeper = work.keepers.get([keeper_id]).get(keeper_id)
        if keeper is None:
            return None
        lawns = work.lawns.of_keepers([keeper_id])
        sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
        told = {
            "keeper": asdict(keeper),
            "sites": [asdict(site) for site in sites.values()],
            "lawns": [asdict(lawn) for lawn in lawns],
            "reports": [asdict(event) for lawn in lawns for event in work.lawns.events(lawn.lawn_id)],
            "notices": [
                asdict(notice)
                for lawn in lawns
                for notice in work.outbox.told(lawn.lawn_id, limit=MOST_NOTICES)
            ],
            "messages": work.outbox.of_keeper(keeper_id, limit=MOST_NOTICES),
            "texts": [asdict(one) for one in work.inbound.of_keeper(keeper_id)],
            "sign_ups": [asdict(one) for one in work.signups.of_keeper(keeper_id)],
            **_of_work(work, keeper_id, [lawn.lawn_id for lawn in lawns]),
        }
    return {name: _plain(value) for name, value in told.items()}


def _of_work(work: Work, keeper_id: int, lawn_ids: list[int]) -> dict[str, list[Any]]:
    """What is kept of an organisation's work; plans are left out, since they say the same by the day."""
    crews = work.crews.crews(keeper_id)
    first, last = date.min, date.max
    plan = work.parks.heat_plan(keeper_id)
    kept: dict[str, Iterable[Any]] = {
        "crews": crews,
        "crew_hours": work.crews.hours([crew.crew_id for crew in crews], first=first, last=last),
        "contacts": work.crews.contacts(keeper_id),
        "work_at_sites": work.crews.sites(keeper_id).values(),
        "work_at_lawns": work.crews.lawns(lawn_ids).values(),
        "visits": work.crews.visits(keeper_id, first=first, last=last),
        "turf_classes": work.parks.rules(keeper_id).values(),
        "class_holds": work.parks.class_holds(keeper_id, first=first, last=last),
        "hold_log": work.parks.hold_log(keeper_id, first=first, last=last),
        "restrictions": work.parks.restrictions([keeper_id], since=date.min).get(keeper_id, []),
        "irrigation_off": work.parks.watering_off(keeper_id, since=date.min),
        "heat_plan": [plan] if plan else [],
        "heat_told": work.parks.heat_notices(keeper_id, first=first, last=last),
    }
    return {name: [asdict(one) for one in records] for name, records in kept.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(name): _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Enum):
        return value.value
    return value.isoformat() if hasattr(value, "isoformat") else value


def erase(store: Store, links: Links, keeper_id: int, *, at: datetime) -> bool:
    """Forget a keeper and all of theirs; what is left is a mark that says not to write there again.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    links : Links
        Makes the one-way marks.
    keeper_id : int
        Whom.
    at : datetime
        The moment.

    Returns
    -------
    bool
        Whether there was such a keeper.
    """
    with store.begin() as work:
        keeper = work.keepers.get([keeper_id]).get(keeper_id)
        if keeper is None:
            return False
        work.keepers.erase(keeper_id)
        for address in (keeper.email, keeper.phone):
            if address:
                work.signups.silence(links.mark(address), at=at)
        work.commit()
    return True


def forget_unconfirmed(store: Store, *, now: datetime, after: timedelta = timedelta(days=7)) -> int:
    """Forget sign-ups that were never confirmed, with their addresses, and old tries; how many sign-ups."""
    with store.begin() as work:
        forgotten = work.signups.forget_unconfirmed(before=now - after)
        work.signups.forget_attempts(before=now - TRIES_COUNT_FOR)
        work.commit()
    return forgotten
