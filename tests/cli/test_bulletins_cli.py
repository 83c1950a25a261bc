"""An adviser reads the week's bulletin and speaks with it, at the command line."""

import pytest
from program import Program

from mowalert.settings import config_file

AT = ("--at", "2026-05-04T12:00Z")
TABLE = """keeper,kind,email,latitude,longitude,grass,height_mm,guide
Ann,homeowner,ann@example.org,41.85,-93.15,tall fescue,,quillmere
"""


@pytest.fixture
def region(program: Program) -> Program:
    program("guides", "add", config_file("guides") / "quillmere.toml", *AT)
    program("lawns", "import", program.table(TABLE), *AT)
    program("night", *AT)
    return program


def test_a_bulletin_is_shown_as_text_fit_for_a_mailing_list(region: Program) -> None:
    said = region("bulletin", "say", "quillmere", "Rust on ryegrass. Feed lightly.", *AT).out
    assert said == "Quillmere country, 2026-W19: Rust on ryegrass. Feed lightly.\n"
    lines = region("bulletin", "show", "quillmere", *AT).out.splitlines()
    assert lines[0].startswith("Quillmere country: Week 19 of 2026")
    assert lines[2].startswith("Tall fescue grows ")
    assert lines[4] == "Rust on ryegrass. Feed lightly."
    assert "Source: NOAA / National Weather Service" in lines
    assert any(line.startswith("Tall fescue: this week ") for line in lines)


def test_a_bulletin_is_shown_as_json_by_week(region: Program) -> None:
    kept = region.json("bulletin", "show", "quillmere", "--week", "2026-W19", *AT)
    assert (kept["bulletin"]["week_on"], kept["said"]) == ("2026-05-04", "")
    assert kept["bulletin"]["grasses"][0]["grass_id"] == "tall_fescue"


def test_what_cannot_be_shown_or_said_is_one_line(region: Program) -> None:
    assert "no guide 'nowhere'" in region.refused("bulletin", "say", "nowhere", "Hello.", *AT)
    assert "at most 400" in region.refused("bulletin", "say", "quillmere", "x" * 500, *AT)
    assert "no bulletin yet" in region.refused("bulletin", "show", "nowhere")
    assert "no bulletin of 2026-W20" in region.refused("bulletin", "show", "quillmere", "--week", "2026-W20")
    assert "is no week such as" in region.refused("bulletin", "show", "quillmere", "--week", "soon")
