"""Every lawn as a row of the import's columns."""

from collections.abc import Sequence
from typing import Any

from mowalert.domain.rounds import DAY_NAMES, weekdays_in
from mowalert.service.known import known_lawn
from mowalert.service.ports import Store
from mowalert.service.records import KeeperRecord, LawnRecord, SiteRecord, StandRecord


def export_rows(
    store: Store,
    *,
    lawn_id: int | None = None,
    lawn_ids: Sequence[int] | None = None,
    with_state: bool = False,
) -> list[dict[str, Any]]:
    """Return lawns as rows that ``lawns import`` reads back unchanged.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    lawn_id : int | None
        One lawn, which must be known; all if not given.
    lawn_ids : Sequence[int] | None
        Some lawns; all if not given.
    with_state : bool
        Add what the import does not know: the lawn's number and whether its last cut is assumed.

    Returns
    -------
    list[dict[str, Any]]
        One a lawn; none where nothing is known, or where another column tells the same.

    Raises
    ------
    InputError
        If there is no such lawn.
    """
    with store.begin() as work:
        asked = work.lawns.all_ids() if lawn_ids is None else lawn_ids
        lawns = work.lawns.get(asked) if lawn_id is None else [known_lawn(work, lawn_id)]
        keepers = work.keepers.get(sorted({lawn.keeper_id for lawn in lawns}))
        sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
        stands = work.stands.get(sorted({lawn.stand_id for lawn in lawns}))
        newest = {record.guide_id: record.version for record in work.guides.newest()}
    rows = []
    for lawn in lawns:
        around = keepers[lawn.keeper_id], sites[lawn.site_id], stands[lawn.stand_id]
        row = _row(lawn, *around, shown=with_state)
        if with_state:
            row |= {"lawn_id": lawn.lawn_id, "assumed": lawn.anchor_assumed}
            row["guide_version"] = newest.get(lawn.guide or "")
            row["last_mown_on"] = lawn.anchored_on.isoformat()
        rows.append(row)
    return rows


def _row(
    lawn: LawnRecord, keeper: KeeperRecord, site: SiteRecord, stand: StandRecord, *, shown: bool
) -> dict[str, Any]:
    # A cut nobody reported is not exported as one.
    known = not lawn.anchor_assumed
    return {
        "keeper": keeper.name,
        "kind": keeper.kind.value,
        "email": keeper.email,
        "phone": keeper.phone,
        "time_zone": keeper.time_zone,
        "units": keeper.units.value,
        "site": site.name,
        "address": site.address,
        "latitude": site.latitude_deg,
        "longitude": site.longitude_deg,
        "lawn": lawn.name,
        "grass": lawn.grass,
        # A height that follows the guide is not the keeper's own.
        "height_mm": None if lawn.follows_guide and not shown else lawn.chosen_mm,
        "height_in": None,
        "guide": lawn.guide,
        "soil": stand.key.soil,
        "watering": stand.key.watering.value,
        "sun": stand.key.sun.value,
        "nitrogen": lawn.nitrogen,
        "area_m2": lawn.area_m2,
        "area_sqft": None,
        "turf_class": lawn.turf_class,
        "mowing_days": " ".join(DAY_NAMES[day] for day in sorted(weekdays_in(lawn.mowing_days))),
        "mowing_hours": f"{lawn.mow_from_h}-{lawn.mow_to_h}",
        "clippings": lawn.clippings.value,
        "silence": keeper.silence.value,
        "last_mown_on": lawn.anchored_on.isoformat() if known else None,
        "last_height_mm": lawn.anchor_height_mm if known else None,
        "last_height_in": None,
    }
