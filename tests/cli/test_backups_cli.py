"""Backups through the command line: what is said, and what is not."""

import json

from program import Program

TABLE = """keeper,kind,email,latitude,longitude,grass,height_mm
Ann Example,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65
"""
AT = "2026-05-07T12:00Z"


def test_a_store_comes_back_and_nothing_personal_is_said(program: Program) -> None:
    program("lawns", "import", program.table(TABLE), "--at", AT)
    before = program.dump()
    told = program("backup", "kept.backup", "--at", AT)
    assert told.out.startswith("backed up: ")
    assert told.out.endswith("made 2026-05-07 12:00 UTC\n")
    assert "is there already" in program.refused("backup", "kept.backup")
    assert "not empty" in program.refused("restore", "kept.backup", "--at", AT)
    again = program("restore", "kept.backup", "--replace", "--nothing-since", "--at", AT)
    assert program.dump() == before
    assert "unknown fate" not in again.out
    assert "unknown fate" in program("restore", "kept.backup", "--replace", "--at", AT).out
    assert "ann" not in (told.out + told.err + again.out + again.err).casefold()
    assert [path.name for path in program.folder.glob("*backup*")] == ["kept.backup"]


def test_a_program_can_read_what_was_kept(program: Program) -> None:
    program("lawns", "import", program.table(TABLE), "--at", AT)
    said = program.json("backup", "kept.backup", "--at", AT)
    assert said["rows"]["lawn"] == 1
    assert said["made_at"] == "2026-05-07T12:00:00+00:00"
    assert program.json("restore", "kept.backup", "--replace") == said
    assert json.dumps(said).count("@") == 0


def test_a_file_that_is_no_backup_is_said_in_one_line(program: Program) -> None:
    assert "is no backup" in program.refused("restore", program.table(TABLE))
    assert "No such file" in program.refused("restore", "nowhere.backup")


def test_no_command_touches_a_store_of_a_newer_program(program: Program) -> None:
    program.write("UPDATE alembic_version SET version_num = '9999'")
    before = program.dump()
    for words in (["status"], ["night"], ["deliver"], ["init-store"], ["due"], ["backup", "kept.backup"]):
        assert "newer than this program's" in program.refused(*words, code=1)
    assert program.dump() == before


def test_an_older_store_asks_for_a_backup_and_an_upgrade(program: Program) -> None:
    program.write("UPDATE alembic_version SET version_num = '0001'")
    assert "older than this program's" in program.refused("status", code=1)
    assert "make a backup, then run init-store" in program.refused("night", code=1)
