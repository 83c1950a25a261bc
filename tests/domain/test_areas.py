"""Whether a warning's area touches the ground of a weather cell."""

from math import cos, radians

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.areas import Area, Circle, Patch, touches

HERE = Patch(1, 45.0, -93.0, 0.05, frozenset({"forecast/MNZ060", "county/MNC053"}))


def a_box(south: float, north: float, west: float, east: float) -> Area:
    return Area("a box", polygons=(((south, west), (south, east), (north, east), (north, west)),))


@pytest.mark.parametrize(
    ("box", "expected"),
    [
        ((44, 46, -94, -92), True),
        ((44.99, 45.01, -93.01, -92.99), True),
        ((45.04, 46, -93.5, -92.5), True),
        ((45.06, 46, -93.5, -92.5), False),
        ((44.9, 45.1, -92.94, -92), False),
        ((44.999, 45.001, -94, -92), True),
        ((-46, -44, -94, -92), False),
        ((44, 46, 86, 88), False),
    ],
)
def test_a_polygon_touches_a_cell_that_it_covers_crosses_or_lies_in(
    box: tuple[float, float, float, float], expected: bool
) -> None:
    assert touches([a_box(*box)], HERE) is expected


def test_a_hollow_outline_does_not_hold_what_it_goes_around() -> None:
    horseshoe = Area(
        "u",
        polygons=(((44, -94), (44, -92), (46, -92), (46, -92.5), (44.5, -92.5), (44.5, -93.5), (46, -93.5)),),
    )
    assert touches([horseshoe], HERE) is False
    assert touches([horseshoe], Patch(2, 44.2, -93.0, 0.05)) is True


@pytest.mark.parametrize("longitude", [179.95, -179.95, 180.0, -180.0])
def test_an_outline_may_pass_the_date_line(longitude: float) -> None:
    outline = ((-18.0, 178.0), (-16.0, 178.0), (-16.0, -178.0), (-18.0, -178.0))
    fiji = Area("Fiji", polygons=(outline,))
    assert touches([fiji], Patch(1, -17.0, longitude, 0.05)) is True
    assert touches([fiji], Patch(1, -17.0, 0.0, 0.05)) is False


def test_a_circle_reaches_as_far_as_its_radius() -> None:
    """One degree of longitude is 78.6 km at 45°."""
    middle = -93.0 + 0.05 + 1.0
    east_km = 111.2 * cos(radians(45.0))
    assert touches([Area("", circles=(Circle(45.0, middle, east_km + 0.1),))], HERE) is True
    assert touches([Area("", circles=(Circle(45.0, middle, east_km - 0.1),))], HERE) is False
    assert touches([Area("", circles=(Circle(45.01, -93.01, 0.0),))], HERE) is True


def test_a_code_counts_where_there_is_no_shape() -> None:
    assert touches([Area("", codes=frozenset({"county/MNC053"}))], HERE) is True
    assert touches([Area("", codes=frozenset({"county/MNC001"}))], HERE) is False
    county = frozenset({"county/MNC053"})
    aside = Area("", polygons=a_box(46, 47, -94, -92).polygons, codes=county)
    assert touches([aside], HERE) is False, "a storm's polygon is sharper than the county beside it"


def test_a_name_or_a_strange_code_tells_nothing() -> None:
    assert touches([Area("Oberland", codes=frozenset({"EMMA_ID/CH001"}))], HERE) is None
    assert touches([Area("Oberland")], HERE) is None
    assert touches([], HERE) is None
    assert touches([Area("Oberland"), a_box(44, 46, -94, -92)], HERE) is True


POINTS = st.tuples(st.floats(-90, 90), st.floats(-180, 180))


@given(st.lists(POINTS, min_size=3, max_size=8), POINTS)
def test_every_outline_has_an_answer(corners: list[tuple[float, float]], middle: tuple[float, float]) -> None:
    patch = Patch(1, *middle, 0.05)
    assert touches([Area("", polygons=(tuple(corners),))], patch) in (True, False)


@given(st.floats(-60, 60), st.floats(-180, 180), st.floats(0.01, 5), st.floats(-6, 6), st.floats(-6, 6))
def test_a_box_touches_as_far_as_boxes_overlap(
    latitude: float, longitude: float, size: float, north: float, east: float
) -> None:
    """An independent rule for upright boxes: they overlap where both their spans do."""
    patch = Patch(1, latitude, longitude, 0.05)
    gap = max(abs(north), abs(east)) - size - 0.05
    middle = latitude + north, longitude + east
    corners = tuple(
        (middle[0] + size * up, (middle[1] + size * right + 180) % 360 - 180)
        for up, right in ((-1, -1), (-1, 1), (1, 1), (1, -1))
    )
    if abs(gap) > 1e-6:
        assert touches([Area("", polygons=(corners,))], patch) is (gap < 0)
