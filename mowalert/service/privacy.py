"""What is kept about a person, shown whole, and forgotten for good when they ask."""

from dataclasses import asdict
from datetime import datetime, timedelta
from enum import Enum
from typing import Any

from mowalert.links import Links
from mowalert.service.ports import Store

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
        Keeper, sites, lawns, reports, notices and messages; none if there is no such keeper.
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
        }
    return {name: _plain(value) for name, value in told.items()}


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
