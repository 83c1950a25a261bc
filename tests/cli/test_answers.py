"""The answer page of a notice, in the terminal."""

from program import Program

HEADER = "keeper,kind,email,latitude,longitude,grass,height_mm,last_mown_on,site,lawn"
ANN = "Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65,2026-04-30,Home,front"
EVENING = "2026-05-07T22:05Z"


def a_notice(program: Program) -> None:
    program("lawns", "import", program.table(f"{HEADER}\n{ANN}\n"), "--at", "2026-05-06T12:00Z")
    program("night", "--at", EVENING)


def test_why_shows_the_chain_and_that_it_holds(program: Program) -> None:
    a_notice(program)
    assert program("why", "--lawn", 1).out.split() == ["1", "2026-05-07", "mow"]
    lines = program("why", 1).out.splitlines()
    assert lines[0].startswith("mow on 2026-05-07: Home, front (Kentucky bluegrass)")
    assert lines[3].startswith("2026-04-30  nws")
    assert "rule mow              decides" in lines
    assert lines[-1] == "computed again, it says the same"


def test_why_as_json(program: Program) -> None:
    a_notice(program)
    chain = program.json("why", 1)
    assert chain["notice"] == chain["again"]
    assert chain["moved"] == []
    assert chain["days"][-1]["on"] == "2026-05-07"


def test_why_without_a_number_or_of_an_unknown_notice_is_one_clear_line(program: Program) -> None:
    a_notice(program)
    assert "--lawn" in program.refused("why")
    assert "there is no notice 7" in program.refused("why", 7)
