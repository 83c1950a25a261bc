"""A keeper's calendar feed, by a private address that lasts until they ask for new links."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from mowalert.channels.calendar import calendar_of
from mowalert.links import CALENDAR
from mowalert.service.keepers.calendar import calendar_days
from mowalert.service.records import KeeperRecord
from mowalert.web.calendar_words import calendar_entry
from mowalert.web.feeds import feed_answer
from mowalert.web.site import Site, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]


@router.api_route("/calendar/{token}.ics", methods=["GET", "HEAD"])
def calendar(request: Request, token: str, site: SiteHere) -> Response:
    """Give the calendar, or say that it is as it was."""
    keeper = site.keeper_of(CALENDAR, token)
    if keeper is None:
        return Response("not found", status_code=404, media_type="text/plain")
    return feed_answer(request, _feed(site, keeper))


def _feed(site: Site, keeper: KeeperRecord) -> bytes:
    services = site.services
    days = calendar_days(services.store, services.turf, services.policy, keeper.keeper_id)
    return calendar_of(
        [calendar_entry(one, keeper) for one in days],
        service_name=services.settings.service.name,
        host=services.policy.host,
        time_zone=keeper.time_zone,
    )
