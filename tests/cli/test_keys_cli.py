"""Keys of keepers' programs on the command line: shown once, then only told of."""

from program import Program

TWO = """keeper,kind,email,latitude,longitude,grass,height_mm
Ann,company,ann@example.org,42.0,-73.0,kentucky_bluegrass,70
Ann,homeowner,ann@example.org,42.0,-73.0,kentucky_bluegrass,70
"""


def test_keys_are_made_listed_and_revoked(program: Program) -> None:
    program("lawns", "import", program.table(TWO))
    told = program("api-key", "make", 1, "--name", "office", "--scope", "report", "--scope", "read")
    assert told.out.startswith("mow_")
    assert len(told.out.split()) == 1
    assert "key 1 'office' of keeper 1: read, report" in told.err
    made = program.json("api-key", "make", 2, "--name", "home", "--scope", "enrol")
    assert made["key"].startswith("mow_")
    assert (made["key_id"], made["keeper_id"], made["scopes"]) == (2, 2, ["enrol"])
    assert program.json("api-key", "revoke", 2)["revoked_at"]
    listed = program.json("api-key", "list")
    assert [(one["name"], one["keeper"], one["revoked_at"] is None) for one in listed] == [
        ("office", "Ann", True),
        ("home", "Ann", False),
    ]
    assert "mow_" not in program("api-key", "list").out
    assert "say what the key may do" in program.refused("api-key", "make", 1, "--name", "office")
    assert "2 (Ann, homeowner)" in program.refused(
        "api-key", "make", "ann@example.org", "--name", "x", "--scope", "read"
    )
    assert "there is no key 9" in program.refused("api-key", "revoke", 9)
    program("api-key", "revoke", 10**30, expect=2)
