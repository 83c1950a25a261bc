"""Drawings: what they say, that nothing leaves them, and that their colours can be told apart."""

import math
import re
import unicodedata
import xml.etree.ElementTree as ET
from dataclasses import fields, replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mowalert.web import drawing
from mowalert.web.drawing import (
    ENGLISH,
    SPANISH,
    DrawingWords,
    DrawnCell,
    DrawnCut,
    DrawnDay,
    LawnView,
    draw_cells,
    draw_clippings,
    draw_lawn,
    draw_roots,
    draw_third,
)

TODAY = date(2026, 6, 18)
MOST_BYTES = 12_000
STYLES = Path(drawing.__file__).parents[1] / "static" / "drawing.css"
SVG = "{http://www.w3.org/2000/svg}"
LESSONS = (draw_third, draw_roots, draw_clippings)


def a_day(offset=0, height_mm=90.0, **more):
    return DrawnDay(TODAY + timedelta(days=offset), height_mm, **more)


def a_cut(offset=-3, after_mm=75.0, after_text="75 mm", assumed=False):
    return DrawnCut(TODAY + timedelta(days=offset), 100.0, after_mm, after_text, assumed)


def a_view(**more):
    days = tuple(a_day(offset, 90.0 + 2 * offset) for offset in range(-14, 11))
    view = LawnView(
        today=TODAY,
        chosen_mm=75.0,
        limit_mm=112.5,
        now_text="90 mm",
        chosen_text="75 mm",
        limit_text="113 mm",
        limit_on=None,
        days=days,
        tick_labels=((0.0, "0"), (50.0, "50 mm"), (100.0, "100 mm")),
    )
    return replace(view, **more)


def a_cell(latitude_deg=44.95, longitude_deg=-93.25, value=3.0, label="3 mm"):
    return DrawnCell(latitude_deg, longitude_deg, value, label)


def lawn(**more):
    return draw_lawn(a_view(**more), words=ENGLISH)


def parsed(svg):
    return ET.fromstring(svg)  # noqa: S314 - text that we drew ourselves


def said(svg):
    return parsed(svg).findtext(f"{SVG}desc")


def classed(svg, name):
    return [one for one in parsed(svg).iter() if name in one.get("class", "").split()]


def texts(svg):
    return [one.text for one in parsed(svg).iter(f"{SVG}text")]


def drawn(root):
    """Every element outside patterns, which have a plane of their own."""
    for child in root:
        if child.tag != f"{SVG}pattern":
            yield child
            yield from drawn(child)


def points(element):
    """Every point that an element names: a path's own and its control points, the ends of the rest."""
    number = {name: float(value) for name, value in element.attrib.items() if name in PLACES}
    if element.tag == f"{SVG}path":
        yield from path_points(element.get("d"))
    elif element.tag == f"{SVG}rect":
        yield number["x"], number["y"]
        yield number["x"] + number["width"], number["y"] + number["height"]
    elif element.tag == f"{SVG}circle":
        yield number["cx"] - number["r"], number["cy"] - number["r"]
        yield number["cx"] + number["r"], number["cy"] + number["r"]
    elif element.tag == f"{SVG}line":
        yield number["x1"], number["y1"]
        yield number["x2"], number["y2"]
    elif element.tag == f"{SVG}text":
        wide = 5.0 * sum(not unicodedata.combining(letter) for letter in element.text or "")
        left = number["x"] - wide * {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor"), 0.0)
        yield left, number["y"]
        yield left + wide, number["y"]


PLACES = {"x", "y", "width", "height", "cx", "cy", "r", "x1", "y1", "x2", "y2"}


def path_points(d):
    x = y = 0.0
    for letter, rest in re.findall(r"([MLQZhv])([^MLQZhv]*)", d):
        numbers = [float(number) for number in rest.split()]
        assert all(math.isfinite(number) for number in numbers)
        if letter in "hv":
            x, y = (x + numbers[0], y) if letter == "h" else (x, y + numbers[0])
            yield x, y
        else:
            for x, y in zip(numbers[::2], numbers[1::2], strict=True):
                yield x, y
    assert re.fullmatch(r"[MLQZhv0-9 .\-]*", d)


def assert_whole(svg):
    """Well-formed, small, without anything a strict policy forbids, and with nothing outside."""
    root = parsed(svg)
    assert len(svg.encode()) <= MOST_BYTES
    _, _, wide, high = (float(number) for number in root.get("viewBox").split())
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in ALLOWED
        for name, value in element.attrib.items():
            assert name in ALLOWED_ATTRIBUTES, name
            assert "url(" not in value or re.fullmatch(r"url\(#[a-z0-9-]+\)", value)
    for element in drawn(root):
        for x, y in points(element):
            assert -0.1 <= x <= wide + 0.1, ET.tostring(element)
            assert -0.1 <= y <= high + 0.1, ET.tostring(element)
    title, described = root.get("aria-labelledby").split()
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").get("id") == title
    assert root.find(f"{SVG}desc").get("id") == described
    assert said(svg)


ALLOWED = {"svg", "title", "desc", "g", "path", "rect", "line", "circle", "text", "pattern"}
ALLOWED_ATTRIBUTES = PLACES | {
    "aria-labelledby", "class", "d", "fill", "fill-opacity", "font-family", "font-size", "font-weight", "id",
    "lang", "patternTransform", "patternUnits", "role", "rx", "stroke", "stroke-dasharray", "stroke-linecap",
    "stroke-linejoin", "stroke-opacity", "stroke-width", "text-anchor", "viewBox",
}  # fmt: skip
"""No style, no on…, no href: what is not here is not drawn."""

any_text = st.one_of(
    st.text(max_size=60),
    st.sampled_from(
        [
            "<script>alert(1)</script>",
            '"><svg onload="x">',
            "]]>&amp;",
            "{name}",
            "a\x00b\ud800",
            "W" * 500,
            "",
        ]
    ),
)
any_mm = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(0, 300),
    st.sampled_from([0.0, -1.0, 5e-324, 1.7e308]),
)
any_on = st.one_of(
    st.integers(-16, 12).map(lambda offset: TODAY + timedelta(days=offset)),
    st.sampled_from([date.min, date.max]),
)
any_day = st.builds(
    DrawnDay, any_on, any_mm, st.none() | any_mm, st.none() | any_mm, st.none() | st.just("heat") | any_text
)
any_cut = st.builds(DrawnCut, any_on, any_mm, any_mm, any_text, st.booleans())
any_view = st.builds(
    LawnView,
    today=st.sampled_from([TODAY, date.min, date.max]),
    chosen_mm=any_mm,
    limit_mm=any_mm,
    now_text=any_text,
    chosen_text=any_text,
    limit_text=any_text,
    limit_on=st.none() | any_on,
    days=st.lists(any_day, max_size=30).map(tuple),
    mowings=st.lists(any_cut, max_size=30).map(tuple),
    tick_labels=st.lists(st.tuples(any_mm, any_text), max_size=8).map(tuple),
)
any_cell = st.builds(
    DrawnCell,
    st.floats(-90, 90) | st.sampled_from([-90.0, 90.0]),
    st.floats(-180, 180) | st.sampled_from([-180.0, 180.0, -179.95, 179.95]) | st.floats(0, 1),
    any_mm,
    any_text,
)
any_words = st.sampled_from([ENGLISH, SPANISH])


@given(any_view, any_words)
@settings(deadline=None)
def test_a_lawn_of_any_numbers_and_texts_is_drawn_whole(view, words):
    assert_whole(draw_lawn(view, words=words))


@given(st.lists(any_cell, max_size=40), any_words, st.sampled_from([0.01, 0.1, 1.0]))
@settings(deadline=None)
def test_any_cells_are_drawn_whole(cells, words, cell_deg):
    assert_whole(draw_cells(cells, words=words, cell_deg=cell_deg))


@pytest.mark.parametrize("words", [ENGLISH, SPANISH], ids=["en", "es"])
@pytest.mark.parametrize("draw", LESSONS)
def test_a_lesson_is_whole_and_none_of_its_words_is_cut_short(draw, words):
    svg = draw(words)
    assert_whole(svg)
    assert "…" not in svg
    assert parsed(svg).get("lang") == words.language


@pytest.mark.parametrize("days", [(), (a_day(),), (a_day(5, low_mm=1.0, high_mm=2.0),)])
def test_no_day_or_one_is_drawn_whole(days):
    assert_whole(lawn(days=days))


def test_a_lawn_with_every_day_split_cut_and_held_stays_small():
    days = tuple(
        a_day(offset, 150.0 + offset / 3, low_mm=140.1, high_mm=171.7, hold="&" * 40 if offset % 2 else None)
        for offset in range(-14, 11)
    )
    cuts = tuple(a_cut(offset, after_text="&" * 40, assumed=True) for offset in range(-14, 11))
    svg = lawn(days=days, mowings=cuts, now_text="&" * 40, chosen_text="&" * 40, limit_text="&" * 40)
    assert_whole(svg)


@pytest.mark.parametrize("label", ["&" * 40, "\U0001d165" * 40, "\u0301" * 40, "&&&"], ids=ascii)
@pytest.mark.parametrize("count", [16, 30, 240, 500])
def test_many_cells_with_awkward_labels_stay_small(count, label):
    spots = [(-80.05 + 37 * place % 160, -170.05 + 91 * place % 340) for place in range(count)]
    packed = [(44.05 + place // 20 / 10, -93.05 + place % 20 / 10) for place in range(count)]
    for places in (spots, packed):
        cells = [a_cell(*spot, value=7 * place % 13, label=label) for place, spot in enumerate(places)]
        assert_whole(draw_cells(cells, words=ENGLISH))


def test_the_same_facts_give_the_same_drawing():
    assert lawn() == lawn()
    assert draw_cells([a_cell()], words=ENGLISH) == draw_cells([a_cell()], words=ENGLISH)
    assert all(draw(SPANISH) == draw(SPANISH) for draw in LESSONS)


def test_two_lawns_on_one_page_share_no_id():
    first, second = (re.findall(r'id="([^"]+)"', lawn(now_text=text)) for text in ("90 mm", "91 mm"))
    assert not set(first) & set(second)


@given(any_text)
def test_a_hostile_text_stays_text(text):
    svg = lawn(days=(a_day(hold=text),), now_text=text, mowings=(a_cut(after_text=text),))
    assert "<script" not in svg
    assert "<svg" not in svg[4:]
    assert not any(ord(letter) < 32 for letter in svg)


def test_a_hostile_title_stays_text():
    title = "<b>Growth & more\x00</b>"
    svg = draw_cells([a_cell()], words=replace(ENGLISH, cells_title=title))
    assert parsed(svg).findtext(f"{SVG}title") == "<b>Growth & more </b>"


def test_the_description_says_the_heights():
    text = said(lawn())
    assert "about 90 mm tall today" in text
    assert "kept at 75 mm" in text
    assert "limit for one cut is 113 mm" in text


@pytest.mark.parametrize(
    ("limit_on", "sentence"),
    [
        (None, ENGLISH.say_never),
        (TODAY, ENGLISH.say_past),
        (TODAY - timedelta(days=2), ENGLISH.say_past),
        (TODAY + timedelta(days=3), "It is expected to reach the limit on Sunday 21 June."),
    ],
)
def test_the_description_says_when_the_limit_is_reached(limit_on, sentence):
    assert sentence in said(lawn(limit_on=limit_on))


def test_the_description_says_that_todays_height_is_not_known():
    assert ENGLISH.say_no_height in said(lawn(days=(), now_text=""))


def test_the_description_tells_cuts_and_which_are_assumed():
    text = said(lawn(mowings=(a_cut(-3), a_cut(-10, after_text="80 mm", assumed=True))))
    assert "Cut on Monday 15 June to 75 mm." in text
    assert "A cut on Monday 8 June to 80 mm is assumed." in text
    assert ENGLISH.say_no_cut in said(lawn())


def test_the_description_tells_holds_as_spans_of_days():
    days = [a_day(offset, hold="heat hold" if offset in (2, 3, 4) else None) for offset in range(11)]
    days[7] = a_day(7, hold="frost hold")
    text = said(lawn(days=tuple(days)))
    assert "Heat hold from Saturday 20 June to Monday 22 June." in text
    assert "Frost hold on Thursday 25 June." in text


def test_a_description_stops_after_a_few_cuts_and_counts_the_rest():
    assert "And 4 more." in said(lawn(mowings=tuple(a_cut(offset) for offset in range(-9, 0))))


def test_a_day_is_said_in_the_order_the_words_give():
    words = replace(ENGLISH, day="{weekday}, {month} {day}", day_short="{month} {day}")
    svg = draw_lawn(a_view(limit_on=TODAY + timedelta(days=3)), words=words)
    assert "Sunday, June 21" in said(svg)
    assert "Jun 25" in texts(svg)


def test_spanish_is_spoken_throughout():
    svg = draw_lawn(a_view(limit_on=TODAY + timedelta(days=3), mowings=(a_cut(),)), words=SPANISH)
    assert "Se espera que llegue al límite el domingo 21 de junio." in said(svg)
    assert "Corte el lunes 15 de junio a 75 mm." in said(svg)
    assert {"hoy", "límite 113 mm", "se corta a 75 mm"} <= set(texts(svg))


def test_every_word_has_its_spanish():
    english = {field.name: getattr(ENGLISH, field.name) for field in fields(DrawingWords)}
    same = {name for name, value in english.items() if value == getattr(SPANISH, name)}
    # Made of nothing but what is filled in.
    assert same == {"cells_one", "day_short"}


@pytest.mark.parametrize("name", [field.name for field in fields(DrawingWords)])
def test_spanish_fills_in_what_english_does(name):
    def gaps(value):
        return sorted(set(re.findall(r"\{\w+\}", value))) if isinstance(value, str) else len(value)

    assert gaps(getattr(SPANISH, name)) == gaps(getattr(ENGLISH, name))


@given(st.dictionaries(st.integers(-14, 10), st.booleans()))
@settings(deadline=None)
def test_every_cut_has_its_mark_and_the_assumed_ones_are_hollow(cuts):
    svg = lawn(mowings=tuple(a_cut(offset, assumed=assumed) for offset, assumed in cuts.items()))
    assert len(classed(svg, "cut")) == len(cuts)
    assert len(classed(svg, "assumed")) == sum(cuts.values())
    assert all(
        (mark.get("fill") == "none") == ("assumed" in mark.get("class")) for mark in classed(svg, "cut")
    )


def test_what_lies_outside_the_days_is_not_drawn():
    svg = lawn(days=(a_day(-15), a_day(11)), mowings=(a_cut(-15), a_cut(11)))
    assert not classed(svg, "cut")
    assert not classed(svg, "height")


def test_a_height_that_is_no_number_is_left_out():
    assert_whole(
        lawn(days=(a_day(-1, math.nan), a_day(0, math.inf), a_day(1, 90.0, low_mm=math.nan, high_mm=9)))
    )


def test_the_past_is_solid_and_what_is_to_come_is_dashed():
    past, ahead = classed(lawn(), "height")
    assert past.get("stroke-dasharray") is None
    assert ahead.get("stroke-dasharray")
    # The two meet at today.
    assert list(path_points(past.get("d")))[-1] == next(path_points(ahead.get("d")))


def test_a_line_falls_straight_down_at_a_cut():
    past, _ = classed(lawn(mowings=(a_cut(-3),)), "height")
    (mark,) = classed(lawn(mowings=(a_cut(-3),)), "cut")
    at_cut = [y for x, y in path_points(past.get("d")) if x == float(mark.get("cx"))]
    assert len(at_cut) == 2
    assert at_cut[0] < at_cut[1] == float(mark.get("cy"))


def test_missing_days_break_the_line():
    past, _ = classed(lawn(days=tuple(a_day(offset) for offset in (-9, -8, -3, -2, 0, 1))), "height")
    assert past.get("d").count("M") == 3


def test_the_range_is_drawn_only_where_the_forecast_is_doubted():
    doubted = tuple(a_day(offset, 90.0, low_mm=80.0, high_mm=99.0) for offset in range(-3, 6))
    assert not classed(lawn(), "doubt")
    (band,) = classed(lawn(days=doubted), "doubt")
    assert len(list(path_points(band.get("d")))) == 2 * 6
    assert ENGLISH.doubt in texts(lawn(days=doubted))


def test_each_hold_is_a_hatched_band_under_its_name():
    days = tuple(
        a_day(offset, hold={2: "heat hold", 3: "heat hold", -8: "frost hold"}.get(offset))
        for offset in range(-14, 11)
    )
    svg = lawn(days=days)
    frost, heat = classed(svg, "band")
    assert float(heat.get("width")) == pytest.approx(2 * float(frost.get("width")), abs=0.2)
    assert {"heat hold", "frost hold"} <= set(texts(svg))
    patterns = {pattern.get("id") for pattern in parsed(svg).iter(f"{SVG}pattern")}
    assert {band.get("fill")[5:-1] for band in (frost, heat)} <= patterns


def test_lines_are_named_where_they_are():
    svg = lawn(limit_on=TODAY + timedelta(days=3))
    assert {"kept at 75 mm", "limit 113 mm", "today", "about 90 mm", "4 Jun", "25 Jun", "50 mm"} <= set(
        texts(svg)
    )


@pytest.mark.parametrize(
    ("words", "height"), [(ENGLISH, "13¾ in"), (SPANISH, "13¾ pulgadas"), (SPANISH, "1000 mm")]
)
def test_a_height_is_never_cut_short(words, height):
    svg = draw_lawn(a_view(now_text=height, chosen_text=height, limit_text=height), words=words)
    assert {said.format(height=height) for said in (words.now, words.kept, words.limit)} <= set(texts(svg))


@given(st.lists(st.floats(20, 200), min_size=25, max_size=25), st.lists(st.integers(-14, 10), max_size=3))
@settings(deadline=None)
def test_no_two_words_start_at_one_point(heights, cuts):
    days = tuple(a_day(offset, mm) for offset, mm in zip(range(-14, 11), heights, strict=True))
    svg = lawn(days=days, mowings=tuple(a_cut(offset) for offset in set(cuts)))
    spots = [(one.get("x"), one.get("y")) for one in parsed(svg).iter(f"{SVG}text")]
    assert len(spots) == len(set(spots))


def test_letters_keep_twelve_pixels_in_the_narrowest_column():
    root = parsed(lawn())
    wide = float(root.get("viewBox").split()[2])
    # A telephone of 360 px with our margin of 18 px on each side.
    assert float(root.get("font-size")) * (360 - 2 * 18) / wide >= 12
    assert not [one for one in root.iter() if one is not root and one.get("font-size")]


def test_a_third_shows_the_shares_it_names():
    svg = draw_third(ENGLISH)
    (line,) = classed(svg, "blade-line")
    ground = float(classed(svg, "level")[0].get("y1"))
    kept = ground - float(line.get("y1"))
    tops = [min(y for _, y in path_points(off.get("d"))) for off in classed(svg, "off")]
    assert [1 - kept / (ground - top) for top in tops] == pytest.approx([0.1, 1 / 3, 0.5], abs=0.01)


def test_taller_grass_has_deeper_roots():
    svg = draw_roots(ENGLISH)
    tops = [min(y for _, y in path_points(leaf.get("d"))) for leaf in classed(svg, "leaf")]
    depths = [max(y for _, y in path_points(root.get("d"))) for root in classed(svg, "root")]
    assert tops == sorted(tops, reverse=True)
    assert depths == sorted(depths)


def test_cells_are_told_from_north_to_south():
    cells = [a_cell(44.85, label="2 mm"), a_cell(44.95, label="3 mm")]
    assert said(draw_cells(cells, words=ENGLISH)) == "44.95° N, 93.25° W: 3 mm. 44.85° N, 93.25° W: 2 mm."
    assert "44,95° N, 93,25° O: 3 mm." in said(draw_cells(cells, words=SPANISH))


def test_one_cell_shows_its_value():
    svg = draw_cells([a_cell()], words=ENGLISH)
    assert "3 mm" in texts(svg)
    (square,) = classed(svg, "square")
    assert len(list(path_points(square.get("d")))) == 4


def test_no_cell_is_said_to_be_none():
    svg = draw_cells([], words=ENGLISH)
    assert said(svg) == ENGLISH.cells_none
    assert ENGLISH.cells_none in texts(svg)


def test_equal_values_have_one_shade_and_one_key():
    cells = [a_cell(44.95, -93.25 + place / 10, label="3 mm in all of a week") for place in range(3)]
    svg = draw_cells(cells, words=ENGLISH)
    assert len({square.get("fill") for square in classed(svg, "square")}) == 1
    assert "all: 3 mm in all of a week" in texts(svg)


def test_five_steps_run_from_the_least_value_to_the_most():
    cells = [a_cell(44.95, -93 + place / 10, value=place, label=f"{place} mm a day") for place in range(20)]
    svg = draw_cells(cells, words=ENGLISH)
    assert len({square.get("fill") for square in classed(svg, "square")}) == 5
    assert {"least: 0 mm a day", "most: 19 mm a day"} <= set(texts(svg))


def test_neighbours_across_the_date_line_are_neighbours():
    svg = draw_cells([a_cell(-17.05, 179.95), a_cell(-17.05, -179.95)], words=ENGLISH)
    (squares,) = classed(svg, "square")
    corners = sorted({round(x, 1) for x, _ in path_points(squares.get("d"))})
    # Two squares side by side have three edges between west and east.
    assert len(corners) == 3
    assert "179.95° E" in said(svg)
    assert "179.95° W" in said(svg)
    assert "17.1° S to 17° S, 179.9° E to 179.9° W" in texts(svg)


@pytest.mark.parametrize(("latitude_deg", "share"), [(0.05, 1.0), (60.0, 0.5)])
def test_a_square_is_as_narrow_as_its_degrees(latitude_deg, share):
    (square,) = classed(draw_cells([a_cell(latitude_deg)], words=ENGLISH), "square")
    xs, ys = zip(*path_points(square.get("d")), strict=True)
    assert (max(xs) - min(xs)) / (max(ys) - min(ys)) == pytest.approx(share, abs=0.01)


def test_many_cells_are_drawn_together_and_it_is_said():
    cells = [
        a_cell(40.05 + row / 10, -100.05 + column / 10, row * column, f"{row * column} mm")
        for row in range(60)
        for column in range(60)
    ]
    svg = draw_cells(cells, words=ENGLISH)
    assert_whole(svg)
    assert said(svg).startswith(ENGLISH.cells_together)
    assert ENGLISH.cells_together not in said(draw_cells(cells[:9], words=ENGLISH))


# --- colours ---


def colours(dark):
    """The colours by name, as the light or the dark part of the style sheet sets them."""
    css = STYLES.read_text(encoding="utf-8")
    light_part, dark_part = css.split("@media (prefers-color-scheme: dark)")
    part = dark_part.split("@media")[0] if dark else light_part
    return dict(re.findall(r"--drawing-([a-z-]+): (#[0-9a-f]{6});", part))


def rgb(colour):
    return tuple(int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))


def toned(over, under, share):
    return tuple(share * a + (1 - share) * b for a, b in zip(rgb(over), rgb(under), strict=True))


def luminance(colour):
    """Relative luminance, WCAG 2.2."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def used(kind):
    """Names of the colours that rules for text, or for what is no text, fill or stroke with."""
    found = set()
    for selector, body in re.findall(
        r"^(\.drawing[^{]*)\{([^}]*)\}", STYLES.read_text(encoding="utf-8"), re.M
    ):
        of_text = " text" in selector
        if ".halo" not in selector and of_text == (kind == "text"):
            found |= set(re.findall(r"(?:fill|stroke): var\(--drawing-([a-z-]+)\)", body))
    return found


TONES = {"growth-tone", "keep-tone", "room", "paper"}
"""What others are drawn upon; none carries a meaning alone."""
modes = pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])


@modes
def test_both_modes_set_every_colour(dark):
    assert set(colours(dark)) == set(colours(not dark)) >= used("text") | used("graphics")


@modes
def test_text_can_be_read_on_paper(dark):
    # On the drawings text lies on paper, on a plate of paper or within a rim of it.
    paper = rgb(colours(dark)["paper"])
    ratios = {name: contrast(rgb(colours(dark)[name]), paper) for name in used("text")}
    assert used("text") == {"ink", "quiet", "accent", "growth"}
    assert min(ratios.values()) >= 4.5, ratios


@modes
@pytest.mark.parametrize("under", sorted(TONES))
def test_lines_and_marks_can_be_seen_on_paper_and_on_every_tone(dark, under):
    known = colours(dark)
    ratios = {name: contrast(rgb(known[name]), rgb(known[under])) for name in used("graphics") - TONES}
    assert set(ratios) == {"ink", "quiet", "accent", "growth"}
    assert min(ratios.values()) >= 3.0, ratios


@modes
def test_hatching_can_be_seen_on_the_shades_of_the_steps(dark):
    known = colours(dark)
    for _, look, tone in drawing.STEP_LOOKS:
        if look != "plain":
            assert contrast(rgb(known["quiet"]), toned(known["accent"], known["paper"], tone)) >= 3.0


@modes
def test_the_steps_grow_away_from_the_paper(dark):
    known = colours(dark)
    tones = [toned(known["accent"], known["paper"], tone) for _, _, tone in drawing.STEP_LOOKS]
    ratios = [contrast(tone, rgb(known["paper"])) for tone in tones]
    assert all(later >= 1.25 * earlier for earlier, later in pairwise(ratios))


def test_the_style_sheet_asks_for_nothing_from_outside():
    css = STYLES.read_text(encoding="utf-8")
    assert "@import" not in css
    assert "url(" not in css


def test_every_class_that_has_a_colour_is_drawn_with():
    cells = [a_cell(44.95, -93 + place / 10, value=place, label=f"{place}") for place in range(3)]
    days = tuple(
        a_day(offset, 90.0, low_mm=80.0, high_mm=99.0, hold="heat" if offset == 2 else None)
        for offset in range(-14, 11)
    )
    drawings = [
        lawn(days=days, mowings=(a_cut(-4), a_cut(-9, assumed=True))),
        draw_cells(cells, words=ENGLISH),
        *(draw(ENGLISH) for draw in LESSONS),
    ]
    classes = {
        name for svg in drawings for one in parsed(svg).iter() for name in one.get("class", "").split()
    }
    css = re.sub(r"/\*.*?\*/", "", STYLES.read_text(encoding="utf-8"), flags=re.S)
    assert set(re.findall(r"\.([a-z][a-z-]*)", css)) - {"drawing-frame"} <= classes
