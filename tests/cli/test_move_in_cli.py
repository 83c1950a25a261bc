"""An office's sheet brought in as a dispatcher does it: looked at, completed, confirmed, and sent again."""

from pathlib import Path

from openpyxl import Workbook
from program import Program

NOW = "2026-05-07T12:00Z"
OFFICE = ("--keeper", "Green Quarter", "--email", "office@example.org", "--at", NOW)
TEXT = """Routes;spring;north side
Account;Property;Street Address;Lat;Lon;Grass Type;Cut height;Email;Gate code
A-1;Garden 1;1 Elm Street;42,51;-73,52;tall fescue;85;ann@example.com;'=1
A-2;Garden 2;2 Elm Street;;;tall fescue;3,5 in;;
A-3;Garden 3;3 Elm Street;42,53;-73,52;tall fescue;3;;
"""
HEIGHT = ("--map", "Cut height=height_mm")


def fingerprint(shown: str) -> str:
    return shown.split()[-1]


def test_a_sheet_is_looked_at_completed_and_kept(program: Program) -> None:
    path = program.table(TEXT, "office.csv")
    told = program("move-in", path, *OFFICE, expect=2)
    assert "nothing tells height_mm or height_in: say --map" in told.err
    assert "Cut height                     -> -" in told.out, "the columns are seen nonetheless"
    shown = program(
        "move-in", path, *OFFICE, *HEIGHT, "--mapping", "office", "--write-missing", "list.csv"
    ).out
    assert "Email                          -> -              left alone: told for every row instead" in shown
    assert "line 5, column Cut height (height_mm): found '3'" in shown
    assert "1 new, 0 changed, 0 the same, 1 refused, 1 waiting for a position" in shown
    listed = Path("list.csv").read_text(encoding="utf-8-sig")
    assert listed == "number,address,latitude,longitude\nA-2,2 Elm Street,,\n"
    program.table("number;address;latitude;longitude\r\nA-2;2 Elm Street;42,52;-73,52\r\n", "list.csv")
    again = ("move-in", path, *OFFICE, *HEIGHT, "--mapping", "office", "--positions", "list.csv")
    shown = program(*again).out
    assert "Cut height: 1 cell, such as 3,5 in as 88.9 mm (line 4)" in shown
    assert program(*again, "--confirm", fingerprint(shown)).out.endswith(
        "2 new, 0 changed, 0 the same, 1 refused, 0 waiting for a position\nkept\n"
    )
    later = program("move-in", path, "--mapping", "office", "--at", NOW).out
    assert "as confirmed before" in later
    assert "0 new, 0 changed, 2 the same, 1 refused, 0 waiting for a position" in later
    done = program.json("move-in", path, "--mapping", "office", "--at", NOW)["done"]
    assert (done["unchanged"], done["changes"]) == (2, [])
    program.table(TEXT.replace("Gate code", "Tor"), "other.csv")
    lost = program("move-in", "other.csv", "--mapping", "office", "--at", NOW).out
    assert "columns confirmed before that this sheet lacks: Gate code" in lost


def test_an_export_moves_in_unchanged_as_text_and_as_a_workbook(program: Program) -> None:
    path = program.table(TEXT.replace("Garden 1", "=Garden 1"), "office.csv")
    shown = program("move-in", path, *OFFICE, *HEIGHT).out
    program("move-in", path, *OFFICE, *HEIGHT, "--confirm", fingerprint(shown))
    program("lawns", "export", "out.csv")
    assert "'=Garden 1" in Path("out.csv").read_text(encoding="utf-8")
    book = Workbook()
    page = book.active
    assert page is not None
    for row in program.json("lawns", "export"):
        if page.max_row == 1:
            page.append(list(row))
        page.append(list(row.values()))
    page["G2"].data_type = "s"
    book.save("out.xlsx")
    for name in ("out.csv", "out.xlsx"):
        done = program.json("move-in", name, "--at", NOW)["done"]
        assert (done["added"], done["changed"], done["unchanged"]) == (0, 0, 1), done["problems"]
        assert (done["problems"], done["conversions"]) == ([], [])
