"""Guides and dates at the command line."""

from pathlib import Path

import pytest
from program import Program

from mowalert.settings import config_file

QUILLMERE = str(config_file("guides") / "quillmere.toml")
AT = "2026-05-07T12:00Z"
HEADER = "keeper,kind,email,latitude,longitude,grass,height_mm,guide\n"


@pytest.fixture
def guided(program: Program, tmp_path: Path) -> Program:
    program("guides", "add", QUILLMERE, "--at", AT)
    table = tmp_path / "lawns.csv"
    table.write_text(
        HEADER + "Ann,homeowner,ann@example.org,41.85,-93.15,tall fescue,,quillmere\n", encoding="utf-8"
    )
    program("lawns", "import", str(table), "--at", AT)
    return program


def test_a_lawn_shows_which_guide_and_version_speak(guided: Program) -> None:
    assert "guide quillmere, version 1" in guided("lawns", "show").out
    (row,) = guided.json("lawns", "show")
    assert (row["height_mm"], row["guide"], row["guide_version"]) == (80.0, "quillmere", 1)


def test_an_export_of_a_following_lawn_reads_back_as_one(guided: Program, tmp_path: Path) -> None:
    table = tmp_path / "out.csv"
    guided("lawns", "export", str(table))
    assert guided.json("lawns", "import", str(table), "--at", AT)["unchanged"] == 1


def test_an_unknown_guide_and_a_grass_it_has_no_height_for_are_refused(
    guided: Program, tmp_path: Path
) -> None:
    table = tmp_path / "bad.csv"
    table.write_text(
        HEADER
        + "Bob,homeowner,bob@example.org,41.85,-93.15,tall fescue,,nowhere\n"
        + "Cid,homeowner,cid@example.org,41.85,-93.15,bahiagrass,,quillmere\n",
        encoding="utf-8",
    )
    ran = guided("lawns", "import", str(table), "--at", AT, expect=2)
    assert "column guide: found 'nowhere'; allowed: a region guide known here: quillmere" in ran.err
    assert "line 3, column height_mm: found nothing" in ran.err


def test_check_stores_nothing_and_names_every_mistake(program: Program, tmp_path: Path) -> None:
    assert "version 1, is good" in program("guides", "check", QUILLMERE).out
    assert "0 guides" in program("guides", "list").out
    bad = tmp_path / "bad.toml"
    bad.write_text("guide = 'x'\nversion = 0\n", encoding="utf-8")
    said = program("guides", "check", str(bad), expect=2).err
    assert "version: found '0'" in said
    assert "heights: is missing" in said
    assert "Traceback" not in said


def test_a_guide_is_listed_and_shown(guided: Program) -> None:
    assert "1 lawn" in guided("guides", "list").out
    shown = guided("guides", "show", "quillmere").out
    assert "tall_fescue" in shown
    assert "weed_control: no mowing 2 days before, 2 after" in shown
    assert "no guide" in guided("guides", "show", "quillmere", "--version", "9", expect=2).err
    assert guided.json("guides", "show", "quillmere")["version"] == 1


def test_a_treatment_keeps_off_and_can_be_taken_back(guided: Program) -> None:
    kept = guided.json("keep-off", "1", "--treatment", "weed control", "--on", "2026-05-20", "--at", AT)
    assert (kept["first_on"], kept["last_on"]) == ("2026-05-18", "2026-05-22")
    number = str(kept["kept_off_id"])
    assert "may be mown again" in guided("keep-off", "--undo", number, "--at", AT).out
    assert (
        "no such reason" in guided("keep-off", "1", "--from", "2026-05-20", "--reason", "rain", expect=2).err
    )
    assert "say --from" in guided("keep-off", "1", expect=2).err
