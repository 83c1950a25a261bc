"""Where a warning holds, and whether that touches the ground a weather cell stands for."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, hypot, radians

KM_A_DEGREE = 111.2
"""Of latitude, on a sphere of 6,371 km."""

Corner = tuple[float, float]
"""Latitude and longitude. [°]"""


@dataclass(frozen=True, slots=True)
class Circle:
    """A round area: its middle in degrees, its radius in km."""

    latitude_deg: float
    longitude_deg: float
    radius_km: float


@dataclass(frozen=True, slots=True)
class Area:
    """One area as its sender names it, with its shapes and the codes of official zones.

    A polygon is its corners in order. A code is ``scheme/value``, such as ``county/NYC001``.
    """

    name: str
    polygons: tuple[tuple[Corner, ...], ...] = ()
    circles: tuple[Circle, ...] = ()
    codes: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Patch:
    """The ground of one weather cell: its middle and half its side in degrees, and the zones it lies in."""

    cell_id: int
    latitude_deg: float
    longitude_deg: float
    half_side_deg: float
    codes: frozenset[str] = frozenset()


def touches(areas: Iterable[Area], patch: Patch) -> bool | None:
    """Say whether any of some areas touches a patch of ground.

    A shape is sharper than a code: a storm's polygon often comes with the codes of whole counties. So
    codes are only looked at in areas that have no shape.

    Parameters
    ----------
    areas : Iterable[Area]
        The areas of one warning.
    patch : Patch
        The ground.

    Returns
    -------
    bool | None
        ``None`` if none is known to touch it and one is known by a name or a strange code only.
    """
    answers = [_touches(area, patch) for area in areas]
    if True in answers:
        return True
    return None if None in answers or not answers else False


def _touches(area: Area, patch: Patch) -> bool | None:
    if area.polygons or area.circles:
        return any(_polygon_touches(corners, patch) for corners in area.polygons) or any(
            _circle_touches(circle, patch) for circle in area.circles
        )
    if area.codes & patch.codes:
        return True
    # Of a scheme the patch is placed in, another code means another place.
    return False if _schemes(area.codes) & _schemes(patch.codes) else None


def _schemes(codes: Iterable[str]) -> set[str]:
    return {code.partition("/")[0] for code in codes}


def _polygon_touches(corners: Sequence[Corner], patch: Patch) -> bool:
    half = patch.half_side_deg
    latitudes = [latitude for latitude, _ in corners]
    if not min(latitudes) - half <= patch.latitude_deg <= max(latitudes) + half:
        return False
    points = _around(corners, patch)
    edges = [*pairwise(points), (points[-1], points[0])]
    return _surrounded(edges) or any(_crosses(start, end, half) for start, end in edges)


def _around(corners: Sequence[Corner], patch: Patch) -> list[Corner]:
    """Corners as degrees east and north of the patch's middle; an outline may pass the date line."""
    first = corners[0][1]
    east = (first - patch.longitude_deg + 180) % 360 - 180
    return [
        (east + (longitude - first + 180) % 360 - 180, latitude - patch.latitude_deg)
        for latitude, longitude in corners
    ]


def _surrounded(edges: Iterable[tuple[Corner, Corner]]) -> bool:
    """Whether an outline goes round the origin: a line to the east crosses it an odd number of times."""
    inside = False
    for (x0, y0), (x1, y1) in edges:
        if (y0 > 0) != (y1 > 0) and x0 - y0 * (x1 - x0) / (y1 - y0) > 0:
            inside = not inside
    return inside


def _crosses(start: Corner, end: Corner, half: float) -> bool:
    """Whether a line passes through the square around the origin.

    References
    ----------
    .. [1] Y.-D. Liang, B. A. Barsky, "A new concept and method for line clipping", ACM Trans. Graph. 3,
       1984. doi:10.1145/357332.357333
    """
    enters, leaves = 0.0, 1.0
    for begin, stop in zip(start, end, strict=True):
        step = stop - begin
        if step == 0:
            if abs(begin) > half:
                return False
            continue
        near, far = sorted(((-half - begin) / step, (half - begin) / step))
        enters, leaves = max(enters, near), min(leaves, far)
    return enters <= leaves


def _circle_touches(circle: Circle, patch: Patch) -> bool:
    north = max(abs(circle.latitude_deg - patch.latitude_deg) - patch.half_side_deg, 0.0)
    around = abs((circle.longitude_deg - patch.longitude_deg + 180) % 360 - 180)
    east = max(around - patch.half_side_deg, 0.0) * cos(radians(patch.latitude_deg))
    return hypot(north, east) * KM_A_DEGREE <= circle.radius_km
