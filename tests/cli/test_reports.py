"""A keeper reports cuts and heights, and takes them back; what cannot be is refused in one sentence."""

import pytest
from program import Program

LAWN = """keeper,kind,email,latitude,longitude,grass,height_mm,last_mown_on
Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,50,2026-05-02
"""
NOW = "2026-05-07T22:05Z"


@pytest.fixture
def lawn(program: Program) -> Program:
    """A lawn kept at 50 mm, seen by one night."""
    program("lawns", "import", program.table(LAWN), "--at", NOW)
    program("night", "--at", NOW)
    return program


def height_on_7_may(program: Program) -> float:
    return float(program.json("outlook", 1, "--at", NOW)["days"][0]["height_mm"])


def test_a_cut_starts_the_lawn_again(lawn: Program) -> None:
    before = height_on_7_may(lawn)
    assert before > 60
    told = lawn.json("mowed", 1, 55, "--at", NOW)
    assert (told["lawn_id"], told["on"], told["height_mm"]) == (1, "2026-05-07", 55)
    assert told["before_mm"] == pytest.approx(before)
    assert told["removed_fraction"] == pytest.approx(1 - 55 / before)
    assert height_on_7_may(lawn) == pytest.approx(55)
    text = lawn("mowed", 1, "--at", NOW).out
    assert text == "lawn 1: cut to 50 mm on 2026-05-07; it stood at about 55 mm, so 9% came off\n"


def test_a_cut_without_a_height_is_to_the_chosen_one(lawn: Program) -> None:
    assert lawn.json("mowed", 1, "--at", NOW)["height_mm"] == 50


def test_a_cut_may_be_told_some_days_later(lawn: Program) -> None:
    told = lawn.json("mowed", 1, 50, "--on", "2026-05-05", "--at", NOW)
    assert told["on"] == "2026-05-05"
    assert 50 < height_on_7_may(lawn) < 62


def test_today_is_the_keepers_own(lawn: Program) -> None:
    """In New York it is still the 7th when UTC has the 8th."""
    assert lawn.json("mowed", 1, "--at", "2026-05-08T02:00Z")["on"] == "2026-05-07"
    late = ("--on", "2026-05-08", "--at", "2026-05-08T02:00Z")
    assert lawn.refused("mowed", 1, *late) == "2026-05-08 is still to come"


def test_a_cut_is_taken_back_to_where_the_lawn_was(lawn: Program) -> None:
    before = height_on_7_may(lawn)
    lawn("mowed", 1, 50, "--at", NOW)
    assert lawn("mowed", 1, "--undo", "--at", NOW).out == "lawn 1: the mowing of 2026-05-07 is taken back\n"
    assert height_on_7_may(lawn) == pytest.approx(before)
    # The cut of the table is a report as well.
    undone = lawn.json("mowed", 1, "--undo", "--at", NOW)
    assert (undone["undone"], undone["on"]) == ("mowing", "2026-05-02")
    assert "nothing has been reported" in lawn.refused("mowed", 1, "--undo", "--at", NOW)


def test_a_measured_height_corrects_the_lawn(lawn: Program) -> None:
    told = lawn.json("measured", 1, 70, "--at", NOW)
    assert told["removed_fraction"] is None
    assert height_on_7_may(lawn) == pytest.approx(70)
    lawn("mowed", 1, "--undo", "--at", NOW)
    assert height_on_7_may(lawn) < 70


@pytest.mark.parametrize("command", ["mowed", "measured"])
@pytest.mark.parametrize(
    ("words", "why"),
    [
        ((1, 0), "0 mm cannot be the height of a lawn kept at 50 mm: say 2 mm to 300 mm"),
        ((1, 400), "400 mm cannot be the height of a lawn kept at 50 mm: say 2 mm to 300 mm"),
        ((1, "nan"), "nan mm cannot be the height of a lawn kept at 50 mm"),
        ((1, 50, "--on", "2026-05-08"), "2026-05-08 is still to come"),
        ((1, 50, "--on", "2025-05-08"), "more than 300 days ago, before this season"),
        ((1, 50, "--on", "2026-04-30"), "before the last report, of 2026-05-02; undo that one first"),
        ((1, 50, "--on", "2026-02-30"), "'2026-02-30' is no date such as 2026-05-09"),
        ((1, 50, "--on", "yesterday"), "'yesterday' is no date such as 2026-05-09"),
        ((99, 50), "there is no lawn 99; `mowalert lawns show` lists them"),
    ],
)
def test_a_report_that_cannot_be_is_refused_and_nothing_stored(
    lawn: Program, command: str, words: tuple[object, ...], why: str
) -> None:
    before = lawn.dump()
    assert why in lawn.refused(command, *words, "--at", NOW)
    assert lawn.dump() == before


@pytest.mark.parametrize("words", [(), ("one",), (1, "tall"), (1, 50, 60), (1, "--when", "now")])
def test_wrong_usage_ends_with_two(lawn: Program, words: tuple[object, ...]) -> None:
    lawn("mowed", *words, expect=2)


def test_undo_takes_neither_height_nor_date(lawn: Program) -> None:
    assert "newest report" in lawn.refused("mowed", 1, 50, "--undo")
    assert "newest report" in lawn.refused("mowed", 1, "--undo", "--on", "2026-05-02")


@pytest.mark.parametrize(
    ("at", "why"),
    [
        ("noon", "'noon' is no moment such as 2026-05-07T22:05Z"),
        ("2026-05-07T22:05", "'2026-05-07T22:05' has no zone: add Z for UTC, or an offset such as -05:00"),
    ],
)
def test_a_moment_needs_its_zone(lawn: Program, at: str, why: str) -> None:
    for words in (("mowed", 1), ("due",), ("holds",), ("night",), ("deliver",), ("status",), ("outlook", 1)):
        assert lawn.refused(*words, "--at", at) == why
