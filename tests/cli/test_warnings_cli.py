"""Official warnings at the command line: sender, event, headline, times and link, as they were given."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from program import Program

from mowalert.domain.warnings import OfficialWarning, PlacedWarning, Severity, WarningKind
from mowalert.service.local.official import ASKED
from mowalert.service.ports import PulledWarnings
from mowalert.store.engine import SqlStore

LAWNS = """keeper,kind,email,latitude,longitude,grass,height_mm
Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,50
Bob Ray,homeowner,bob@example.org,41.745,-73.752,kentucky_bluegrass,50
"""
AT = "2026-07-15T20:00Z"
NOW = datetime(2026, 7, 15, 20, tzinfo=UTC)
HEAT = OfficialWarning(
    warning_id="urn:oid:1",
    sender="NWS Albany NY",
    event="Heat Advisory",
    kind=WarningKind.HEAT,
    severity=Severity.MODERATE,
    headline="Heat Advisory issued July 15 at 3:00PM EDT until July 16 at 8:00PM EDT",
    onset_at=NOW,
    ends_at=NOW + timedelta(hours=28),
    areas=("Eastern Albany", "Western Albany"),
    url="https://api.weather.gov/alerts/urn:oid:1",
    instruction="Drink plenty of fluids.",
    language="en-US",
)


@pytest.fixture
def lawns(program: Program) -> Program:
    program("lawns", "import", program.table(LAWNS), "--at", AT)
    return program


def keep(
    program: Program, *found: tuple[OfficialWarning, Sequence[int]], unanswered: Sequence[str] = ()
) -> None:
    """Put warnings into the store as a pull would."""
    placed = tuple(PlacedWarning(warning, tuple(cells)) for warning, cells in found)
    store = SqlStore(program.store_url)
    with store.begin() as work:
        work.warnings.keep(PulledWarnings("nws", (1, 2), placed, frozenset(), ()))
        work.set_meta(ASKED, json.dumps({"at": NOW.isoformat(), "unanswered": list(unanswered)}))
        work.commit()
    store.close()


def test_a_warning_is_shown_with_sender_times_and_link(lawns: Program) -> None:
    keep(lawns, (HEAT, (1,)))
    assert lawns("warnings", "--lawn", 1, "--at", AT).out.splitlines() == [
        "Heat Advisory (moderate), NWS Albany NY",
        "  Heat Advisory issued July 15 at 3:00PM EDT until July 16 at 8:00PM EDT",
        "  2026-07-15 16:00 to 2026-07-16 20:00 America/New_York",
        "  Eastern Albany; Western Albany",
        "  https://api.weather.gov/alerts/urn:oid:1",
        "1 official warning, as of 2026-07-15 16:00 America/New_York",
    ]


def test_another_lawn_and_another_time_see_none(lawns: Program) -> None:
    keep(lawns, (HEAT, (1,)))
    assert lawns("warnings", "--lawn", 2, "--at", AT).out.startswith("0 official warnings, as of")
    assert lawns("warnings", "--at", "2026-07-17T00:00Z").out == (
        "0 official warnings, as of 2026-07-15 20:00 UTC\n"
    )


def test_without_a_lawn_all_are_listed_also_those_of_no_known_place(lawns: Program) -> None:
    names = tuple(f"Zone {number}" for number in range(9))
    fog = replace(
        HEAT, warning_id="f", event="Fog", headline="Fog", severity=Severity.UNKNOWN, areas=names, url=""
    )
    keep(lawns, (HEAT, (1, 2)), (fog, ()), unanswered=["nws"])
    out = lawns("warnings", "--at", AT).out
    assert "2026-07-15 20:00 to 2026-07-17 00:00 UTC" in out
    assert "Fog, NWS Albany NY\n  2026-07-15" in out, "a headline that is the event is not said twice"
    assert "Zone 5 and 3 more\n  its area is known by name only\n" in out
    assert out.endswith("2 official warnings, as of 2026-07-15 20:00 UTC; not all was answered by nws\n")


def test_json_has_every_fact(lawns: Program) -> None:
    keep(lawns, (HEAT, (1, 2)))
    told = lawns.json("warnings", "--at", AT)
    assert told["asked"] == {"at": "2026-07-15T20:00:00+00:00", "unanswered": []}
    (warning,) = told["warnings"]
    assert warning["cell_ids"] == [1, 2]
    assert (warning["kind"], warning["severity"]) == ("heat", "moderate")
    assert warning["instruction"] == "Drink plenty of fluids."
    assert warning["ends_at"] == "2026-07-17T00:00:00+00:00"


def test_before_anybody_was_asked_it_says_so(lawns: Program) -> None:
    assert lawns("warnings", "--at", AT).out == "0 official warnings; none has been asked for yet\n"
    assert lawns.json("warnings", "--at", AT) == {"asked": None, "warnings": []}


def test_a_lawn_that_is_not_there_is_a_mistake(lawns: Program) -> None:
    assert lawns.refused("warnings", "--lawn", 9) == ("there is no lawn 9; `mowalert lawns show` lists them")
