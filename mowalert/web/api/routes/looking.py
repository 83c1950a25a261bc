"""What a program may look at."""

from typing import Annotated

from fastapi import APIRouter, Path, Query

from mowalert.service.keepers.own_lawns import (
    own_due,
    own_held,
    own_lawn,
    own_lawns,
    own_notices,
    own_outlook,
)
from mowalert.web.api.asking import Reader, SiteHere
from mowalert.web.api.problems import answers
from mowalert.web.api.said import AskedNotices, AskedPage
from mowalert.web.api.shown import (
    Lawn,
    Lawns,
    NoticesNow,
    Outlook,
    ToldNotice,
    ToldNotices,
    show_lawn,
    show_notice,
    show_outlook,
)
from mowalert.web.site import MOST_ID

router = APIRouter(tags=["look"])
LawnId = Annotated[int, Path(ge=1, le=MOST_ID, description="The lawn's number.")]


@router.get("/lawns", responses=answers(422))
def list_lawns(asker: Reader, site: SiteHere, asked: Annotated[AskedPage, Query()]) -> Lawns:
    """List this keeper's lawns in order of number, a page at a time. Scope: read."""
    made = site.services
    lawns, following = own_lawns(
        made.store,
        made.turf,
        made.policy,
        asker.keeper,
        after=asked.after,
        limit=asked.limit,
        now=site.now,
    )
    return Lawns(lawns=[show_lawn(lawn) for lawn in lawns], next=following)


@router.get("/lawns/{lawn_id}", responses=answers(404, 422))
def one_lawn(asker: Reader, site: SiteHere, lawn_id: LawnId) -> Lawn:
    """Show one lawn: what is set for it, and how it stands. Scope: read."""
    made = site.services
    return show_lawn(own_lawn(made.store, made.turf, made.policy, asker.keeper, lawn_id, now=site.now))


@router.get("/lawns/{lawn_id}/outlook", responses=answers(404, 422))
def lawn_outlook(asker: Reader, site: SiteHere, lawn_id: LawnId) -> Outlook:
    """Show a lawn's heights, growth and holds from today on. Scope: read."""
    made = site.services
    seen = own_outlook(made.store, made.turf, made.policy, asker.keeper, lawn_id, now=site.now)
    return show_outlook(seen, asker.keeper)


@router.get("/lawns/{lawn_id}/notices", responses=answers(404, 422))
def lawn_notices(
    asker: Reader, site: SiteHere, lawn_id: LawnId, asked: Annotated[AskedNotices, Query()]
) -> ToldNotices:
    """Show what was told of a lawn, the newest first. Scope: read."""
    told = own_notices(site.services.store, asker.keeper, lawn_id, limit=asked.limit)
    return ToldNotices(notices=[ToldNotice.model_validate(record) for record in told])


@router.get("/due", responses=answers())
def due(asker: Reader, site: SiteHere) -> NoticesNow:
    """List lawns that may or must be cut, the most urgent first; one under a hold says so. Scope: read."""
    made, now = site.services, site.now
    notices = own_due(made.store, made.turf, made.policy, asker.keeper, now=now)
    return NoticesNow(on=asker.keeper.today(now), lawns=[show_notice(one) for one in notices])


@router.get("/holds", responses=answers())
def holds(asker: Reader, site: SiteHere) -> NoticesNow:
    """List lawns that are better not mown today, each with its reason. Scope: read."""
    made, now = site.services, site.now
    notices = own_held(made.store, made.turf, made.policy, asker.keeper, now=now)
    return NoticesNow(on=asker.keeper.today(now), lawns=[show_notice(one) for one in notices])
