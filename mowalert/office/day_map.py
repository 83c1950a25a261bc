"""A day's routes as GeoJSON (RFC 7946), for any map."""

from typing import Any

from mowalert.domain.clock import clock
from mowalert.domain.crews import Position
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetLawn


def day_map(sheet: DaySheet, crew_id: int | None = None) -> dict[str, Any]:
    """Return a day's stops, depots and ways as a feature collection.

    Parameters
    ----------
    sheet : DaySheet
        The day.
    crew_id : int | None
        One crew's part; every crew's, and what does not fit, if not given.

    Returns
    -------
    dict[str, Any]
        Points and lines, longitude first.
    """
    crews = [crew for crew in sheet.crews if crew_id in (None, crew.crew_id)]
    features = [feature for crew in crews for feature in _crew_features(crew)]
    if crew_id is None:
        features += [
            _point(one.lawn.position, {**_lawn(one.lawn), "kind": "left_out", "why": one.why.value})
            for one in sheet.left_out
        ]
    return {"type": "FeatureCollection", "features": features}


def _crew_features(crew: CrewSheet) -> list[dict[str, Any]]:
    stops = [
        _point(
            stop.lawn.position,
            {
                **_lawn(stop.lawn),
                "kind": "stop",
                "crew": crew.name,
                "order": stop.order,
                "starts": f"{clock(stop.starts_min):%H:%M}",
                "state": stop.outcome or "planned",
            },
        )
        for stop in crew.listed
    ]
    depot = _point(crew.depot, {"kind": "depot", "crew": crew.name})
    way = [crew.depot, *(stop.lawn.position for stop in crew.listed), crew.depot]
    line = {
        "type": "Feature",
        "geometry": {"type": "LineString", "coordinates": [_lon_lat(place) for place in way]},
        "properties": {"kind": "way", "crew": crew.name, "km": crew.travel_km},
    }
    return [depot, *stops, line] if stops else [depot]


def _lawn(lawn: SheetLawn) -> dict[str, Any]:
    return {
        "lawn_id": lawn.lawn_id,
        "site": lawn.site_name,
        "lawn": lawn.lawn_name,
        "minutes": round(lawn.minutes, 1),
        "removed_today": round(lawn.removed[0], 3),
    }


def _point(place: Position, properties: dict[str, Any]) -> dict[str, Any]:
    geometry = {"type": "Point", "coordinates": _lon_lat(place)}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _lon_lat(place: Position) -> list[float]:
    return [round(place.longitude_deg, 6), round(place.latitude_deg, 6)]
