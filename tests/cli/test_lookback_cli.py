"""The look back on a season as people read it, as JSON, and drawn."""

from pathlib import Path

import pytest
from program import Program

HEADER = "keeper,kind,email,latitude,longitude,grass,height_mm,last_mown_on,site,lawn"
ANN = "Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65,2026-04-30,Home,front"
THURSDAY, SUNDAY, AUTUMN = "2026-05-07T22:05Z", "2026-05-10T20:00Z", "2026-09-30T22:05Z"


def town(homes: int, parks: int) -> str:
    """Many homes with a lawn each, and a parks department with many lawns."""
    rows = [
        f"Home {number},homeowner,h{number}@example.org,42.745,-73.752,kentucky_bluegrass,65,2026-04-30,Home,"
        for number in range(homes)
    ]
    rows += [
        f"City,parks,city@example.org,42.745,-73.752,tall_fescue,75,2026-04-30,Park {number},"
        for number in range(parks)
    ]
    return "\n".join([HEADER, *rows]) + "\n"


@pytest.fixture
def ann(program: Program) -> Program:
    """Ann was told to mow at the weekend, and did."""
    program("lawns", "import", program.table(f"{HEADER}\n{ANN}\n"), "--at", "2026-05-06T12:00Z")
    program("night", "--at", THURSDAY)
    program("mowed", 1, "--at", SUNDAY)
    return program


def test_a_keepers_season_is_a_row_a_lawn_and_a_total(ann: Program) -> None:
    lines = ann("report", "--keeper", "ann lee", "--at", AUTUMN).out.splitlines()
    assert lines[0] == "Ann Lee, 2026-01-01 to 2026-09-30"
    assert " ".join(lines[1].split()) == (
        "lawns cuts on time near miss too much severe unknown assumed days between grown mm told to mow "
        "then mown biggest bite holds told"
    )
    assert lines[2].startswith("1  Home, front ")
    assert lines[3].startswith("all ")
    assert lines[2].split()[3:] == lines[3].split()[1:]
    assert lines[3].split()[:6] == ["all", "1", "2", "1", "0", "0"]


def test_the_chain_is_told_cut_and_counted(ann: Program) -> None:
    back = ann.json("report", "--lawn", 1, "--at", AUTUMN)
    assert (back["of"], back["first_on"], back["last_on"]) == ("Home, front", "2026-01-01", "2026-09-30")
    figures = back["total"]
    assert (figures["cuts"], figures["share_unknown"], figures["cuts_assumed"]) == (2, 1, 0)
    assert (figures["mow_notices"], figures["mow_followed"]) == (1, 1)
    assert figures["biggest_bite"]["on"] == "2026-05-10"
    assert figures["median_days_between"] == 10


def test_a_cut_taken_back_is_not_counted(ann: Program) -> None:
    ann("mowed", 1, "--undo", "--at", SUNDAY)
    figures = ann.json("report", "--lawn", 1, "--at", AUTUMN)["total"]
    assert (figures["cuts"], figures["mow_followed"]) == (1, 0)


def test_a_region_is_told_in_groups(program: Program) -> None:
    program("lawns", "import", program.table(town(12, 11)), "--at", THURSDAY)
    told = program("report", "--all", "--at", AUTUMN).out
    lines = told.splitlines()
    assert "biggest bite" not in told
    assert [line.split("  ")[0] for line in lines[2:-2]] == [
        "by grass", "Kentucky bluegrass", "tall fescue", "by turf class", "lawn", "by kind of keeper",
        "homeowner", "parks", "all",
    ]  # fmt: skip
    assert "not shown" not in told


def test_small_groups_are_hidden_and_it_is_said(program: Program) -> None:
    program("lawns", "import", program.table(town(12, 3)), "--at", THURSDAY)
    told = program("report", "--all", "--at", AUTUMN).out
    assert "Groups of fewer than 10 lawns are not shown" in told
    assert "fescue" not in told
    assert "Kentucky" not in told
    back = program.json("report", "--all", "--at", AUTUMN)
    assert [len(group["rows"]) for group in back["groups"]] == [0, 1, 0]


def test_too_few_lawns_show_no_figure(ann: Program) -> None:
    lines = ann("report", "--all", "--at", AUTUMN, "--plot", "season.png").out.splitlines()
    assert lines[1].startswith("too few lawns to show")
    assert len(lines) == 3
    assert not Path("season.png").exists()
    back = ann.json("report", "--all", "--at", AUTUMN)
    assert (back["total"], back["groups"], back["too_few_lawns"]) == (None, [], True)


@pytest.mark.parametrize("whose", [("--all",), ("--keeper", "City"), ("--lawn", 1)])
def test_a_season_is_drawn(program: Program, whose: tuple[object, ...]) -> None:
    pytest.importorskip("matplotlib")
    program("lawns", "import", program.table(town(12, 75)), "--at", THURSDAY)
    program("night", "--at", THURSDAY)
    program("mowed", 1, 40, "--at", SUNDAY)
    program("report", *whose, "--at", AUTUMN, "--plot", "season.png")
    assert Path("season.png").read_bytes().startswith(b"\x89PNG")


def test_a_plot_that_cannot_be_written_is_one_line(ann: Program) -> None:
    pytest.importorskip("matplotlib")
    assert "cannot be written" in ann.refused(
        "report", "--lawn", 1, "--at", AUTUMN, "--plot", "no/season.png"
    )


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ((), "say one of --lawn LAWN, --keeper NAME, --guide GUIDE or --all"),
        (("--all", "--lawn", 1), "say one of"),
        (("--lawn", 9), "there is no lawn 9; `mowalert lawns show` lists them"),
        (("--keeper", "Bob"), "there is no keeper 'Bob'; `mowalert lawns show` lists them"),
        (("--guide", "x"), "there is no guide 'x'; `mowalert guides list` lists them"),
        (("--lawn", 1, "--from", "May"), "'May' is no date such as 2026-05-09"),
        (("--lawn", 1, "--from", "2026-10-01"), "2026-10-01 is still to come"),
        (("--lawn", 1, "--to", "2025-12-31", "--from", "2026-01-01"), "lies before the first, 2026-01-01"),
    ],
)
def test_what_cannot_be_is_refused_in_a_line(ann: Program, words: tuple[object, ...], why: str) -> None:
    assert why in ann.refused("report", *words, "--at", AUTUMN)


def test_numbers_beyond_the_store_are_refused(program: Program) -> None:
    program("report", "--lawn", 10**20, expect=2)
