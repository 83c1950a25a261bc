"""Operators are named at the command line, and their passwords never shown."""

import pytest
from program import Program
from typer.testing import CliRunner

from mowalert.cli.app import app

GOOD = "green grass grows all around"


@pytest.fixture
def olga(program: Program) -> Program:
    """A folder in which Olga may look."""
    program("operator", "set", "olga", "--password-file", program.table(GOOD + "\n", "password"))
    return program


def asked(*typed: str) -> tuple[int, str]:
    """Set Olga's password at the prompt."""
    ran = CliRunner().invoke(app, ["operator", "set", "olga"], input="".join(f"{line}\n" for line in typed))
    return ran.exit_code, ran.output


def test_an_operator_is_set_listed_and_removed(olga: Program) -> None:
    name, since, last = *olga("operator", "list").out.splitlines()[0].split("  since "), "1 operator"
    assert (name, since.endswith(" UTC")) == ("olga", True)
    assert olga("operator", "list").out.splitlines()[-1] == last
    assert olga("operator", "remove", "olga").out == "olga may look no longer\n"
    assert olga("operator", "list").out == "0 operators\n"


def test_the_password_is_asked_for_twice_and_not_echoed(program: Program) -> None:
    code, said = asked(GOOD, GOOD)
    assert (code, said.splitlines()[-1]) == (0, "olga may look now")
    assert GOOD not in said
    assert asked(GOOD, "green grass grows")[0] == 1


def test_a_second_password_replaces_the_first(olga: Program) -> None:
    before = olga.rows("SELECT password_hash, changed_at FROM operator")
    told = olga("operator", "set", "olga", "--password-file", olga.table("another password", "password"))
    assert told.out == "olga has a new password\n"
    after = olga.rows("SELECT password_hash, changed_at FROM operator")
    assert len(after) == 1
    assert not set(after[0]) & set(before[0])


def test_a_list_holds_no_hash(olga: Program) -> None:
    (one,) = olga.json("operator", "list")
    assert set(one) == {"name", "changed_at"}
    assert "argon2" not in olga("operator", "list").out


def test_what_cannot_be_is_refused_in_a_line(olga: Program) -> None:
    short, missing = olga.table("elevenchars", "short"), olga.folder / "missing"
    for words, why in (
        (("set", "olga", "--password-file", short), "has 11 letters; 12 to 200 are allowed"),
        (("set", " ", "--password-file", olga.table(GOOD, "good")), "a name of 1 to 80 letters is needed"),
        (("set", "olga", "--password-file", missing), "missing: No such file or directory"),
        (("remove", "bob"), "there is no operator 'bob'; `mowalert operator list` lists them"),
    ):
        assert why in olga.refused("operator", *words)
    assert len(olga.json("operator", "list")) == 1
