"""Official warnings are kept while in force, for the cells they touch, whatever becomes of their sources."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from builders import TURF
from ports import free_port

from mowalert.domain.warnings import OfficialWarning, PlacedWarning, Severity, WarningKind
from mowalert.domain.weather import Place, Refusal
from mowalert.errors import ConfigError, InputError
from mowalert.service.lawns.enrol import enrol
from mowalert.service.local.official import (
    FRESH_FOR,
    WarningReport,
    WarningsAsked,
    pull_warnings,
    standing_warnings,
    warnings_asked,
    warnings_for,
)
from mowalert.service.ports import PulledWarnings, WarningSource
from mowalert.service.reading.lawn_table import read_table
from mowalert.settings import load_settings
from mowalert.store.engine import SqlStore
from mowalert.weather.alerts import NwsAlerts
from mowalert.weather.cap_feeds import CapFeed
from mowalert.weather.documents import Documents
from mowalert.weather.http import Http

NOW = datetime(2026, 7, 15, 12, tzinfo=UTC)
LATER = NOW + FRESH_FOR
TABLE = """keeper,kind,email,latitude,longitude,lawn,grass,height_mm
Ann,company,ann@example.org,42.05,-73.05,north,kentucky_bluegrass,70
Ann,company,ann@example.org,41.05,-73.05,south,kentucky_bluegrass,70
"""


def a_warning(name: str = "heat", **changes: object) -> OfficialWarning:
    warning = OfficialWarning(
        warning_id=name,
        sender="Office of Weather",
        event="Heat Advisory",
        kind=WarningKind.HEAT,
        severity=Severity.MODERATE,
        headline="Große Hitze — drink “enough”",
        onset_at=NOW,
        ends_at=NOW + timedelta(hours=9),
        areas=("Zürich", "Ñuble"),
        url="https://weather.example/1",
        instruction="Rest.\nDrink.",
        language="en",
    )
    return replace(warning, **changes)


@dataclass
class Authority:
    """Says what a test sets, and remembers what it was asked."""

    found: tuple[PlacedWarning, ...] = ()
    answered: tuple[int, ...] | None = None
    replaced: frozenset[str] = frozenset()
    refused: tuple[tuple[int | None, Refusal], ...] = ()
    name: str = "nws"
    asked: list[tuple[int, ...]] = field(default_factory=list)

    def says(self, *found: tuple[OfficialWarning, Sequence[int]]) -> None:
        self.found = tuple(PlacedWarning(warning, tuple(cells)) for warning, cells in found)

    def pull(self, places: Sequence[Place], *, now: datetime) -> PulledWarnings:
        cells = tuple(place.cell_id for place in places)
        self.asked.append(cells)
        answered = cells if self.answered is None else self.answered
        return PulledWarnings(self.name, answered, self.found, self.replaced, self.refused)


@dataclass
class Town:
    """A store with one lawn in each of two weather cells."""

    store: SqlStore
    authority: Authority = field(default_factory=Authority)

    def pull(self, *sources: WarningSource, now: datetime = NOW) -> WarningReport:
        return pull_warnings(self.store, sources or (self.authority,), now=now)

    def told(self, *cell_ids: int, now: datetime = NOW) -> list[str]:
        with self.store.begin() as work:
            return [warning.warning_id for warning in warnings_for(work, cell_ids, now=now)]


@pytest.fixture
def town(store: SqlStore) -> Town:
    rows, report = read_table(TABLE, TURF, now=NOW)
    assert report.problems == []
    enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=NOW)
    return Town(store)


def test_a_warning_is_told_where_it_holds_as_it_was_given(town: Town) -> None:
    town.authority.says((a_warning(), (1,)))
    assert town.pull() == WarningReport(2, 1, 0, ())
    with town.store.begin() as work:
        assert warnings_for(work, [1], now=NOW) == (a_warning(),)
        assert warnings_for(work, [2], now=NOW) == ()
        assert warnings_for(work, [], now=NOW) == ()


def test_each_is_told_once_and_the_worst_first(town: Town) -> None:
    storm = a_warning("storm", severity=Severity.EXTREME, onset_at=NOW + timedelta(hours=5))
    soon = a_warning("soon", onset_at=NOW - timedelta(hours=1))
    town.authority.says((a_warning(), (1, 2)), (storm, (2,)), (soon, (1,)))
    town.pull()
    assert town.told(1, 2, 2) == ["storm", "soon", "heat"]


def test_what_is_no_longer_said_of_a_cell_is_forgotten_there(town: Town) -> None:
    town.authority.says((a_warning(), (1, 2)))
    town.pull()
    town.authority.says((a_warning(), (2,)))
    town.pull(now=LATER)
    assert (town.told(1, now=LATER), town.told(2, now=LATER)) == ([], ["heat"])
    town.authority.says()
    town.pull(now=LATER + FRESH_FOR)
    assert standing_warnings(town.store, now=LATER).warnings == ()


def test_what_changed_is_told_as_it_is_now(town: Town) -> None:
    town.authority.says((a_warning(), (1,)))
    town.pull()
    longer = a_warning(ends_at=NOW + timedelta(days=2), headline="Longer")
    town.authority.says((longer, (1, 2)))
    town.pull(now=LATER)
    with town.store.begin() as work:
        assert warnings_for(work, [2], now=NOW + timedelta(days=1)) == (longer,)


def test_a_cell_without_an_answer_keeps_what_it_was_told(town: Town) -> None:
    town.authority.says((a_warning(), (1, 2)))
    town.pull()
    town.authority.answered = (2,)
    town.authority.says()
    town.pull(now=LATER)
    assert (town.told(1), town.told(2)) == (["heat"], [])


def test_what_is_replaced_is_forgotten_even_without_a_whole_answer(town: Town) -> None:
    town.authority.says((a_warning("a,1"), (1,)), (a_warning("a,1 2"), (1,)), (a_warning("a,12"), (1,)))
    town.pull()
    town.authority.says()
    town.authority.answered, town.authority.replaced = (), frozenset({"a,1", "never seen"})
    town.pull(now=LATER)
    assert town.told(1) == ["a,12"]


def test_what_has_ended_is_told_no_more_and_then_forgotten(town: Town) -> None:
    town.authority.says((a_warning(), (1,)))
    town.pull()
    end = NOW + timedelta(hours=9)
    assert town.told(1, now=end - timedelta(seconds=1)) == ["heat"]
    assert town.told(1, now=end) == []
    town.authority.answered = ()
    town.authority.says()
    assert town.pull(now=end).forgotten == 1
    assert standing_warnings(town.store, now=NOW).warnings == ()


def test_sources_do_not_forget_each_others_warnings(town: Town) -> None:
    other = Authority(name="cap weather.example 1")
    town.authority.says((a_warning(), (1,)))
    other.says((a_warning("storm"), (1,)))
    town.pull(town.authority, other)
    town.authority.says()
    town.pull(town.authority, other, now=LATER)
    assert town.told(1) == ["storm"]
    other.says()
    town.pull(town.authority, other, now=LATER + FRESH_FOR)
    assert town.told(1) == []


def test_the_same_warning_from_two_sources_is_one(town: Town) -> None:
    other = Authority(name="cap weather.example 1")
    town.authority.says((a_warning(), (1,)))
    other.says((a_warning(), (1, 2)))
    town.pull(town.authority, other)
    town.pull(town.authority, other, now=LATER)
    assert town.told(1, 2) == ["heat"]


def test_a_warning_known_by_name_only_is_for_no_lawn(town: Town) -> None:
    town.authority.says((a_warning(), ()))
    town.pull()
    assert town.told(1, 2) == []
    (placed,) = standing_warnings(town.store, now=NOW).warnings
    assert placed == PlacedWarning(a_warning(), ())
    town.authority.says()
    town.pull(now=LATER)
    assert standing_warnings(town.store, now=NOW).warnings == ()


def test_nobody_is_asked_again_while_answers_are_fresh(town: Town) -> None:
    town.pull()
    assert town.pull(now=NOW + FRESH_FOR / 2).asked == 0
    town.pull(now=LATER)
    # A clock that stepped back must not stop the pulls.
    town.pull(now=NOW - timedelta(days=1))
    assert town.authority.asked == [(1, 2)] * 3


def test_a_pull_run_twice_changes_nothing(town: Town) -> None:
    town.authority.says((a_warning(), (1, 2)), (a_warning("storm"), (2,)))
    town.pull()
    before = standing_warnings(town.store, now=NOW)
    town.pull()
    assert standing_warnings(town.store, now=NOW) == before


def test_without_sources_or_lawns_nobody_is_asked(store: SqlStore, town: Town) -> None:
    assert pull_warnings(store, (), now=NOW).asked == 0
    with store.begin() as work:
        assert warnings_asked(work) is None
        work.keepers.erase(1)
        work.commit()
    town.pull()
    assert town.authority.asked == []


def test_who_did_not_answer_is_remembered_and_logged(town: Town) -> None:
    town.authority.refused = ((1, Refusal("nws", "status 503")),)
    assert town.pull().unanswered == ("nws",)
    with town.store.begin() as work:
        assert warnings_asked(work) == WarningsAsked(NOW, ("nws",))
        assert [entry[1:4] for entry in work.weather.refusals(9)] == [("nws", None, "status 503")]


def test_services_that_are_down_cost_nothing_but_their_news(town: Town) -> None:
    town.authority.says((a_warning(), (1,)))
    town.pull()
    nowhere = f"http://127.0.0.1:{free_port()}"
    down = (
        NwsAlerts(Http(contact="", tries=1), url=nowhere),
        CapFeed(Documents(contact="", tries=1), f"{nowhere}/feed"),
    )
    report = town.pull(*down, now=LATER)
    assert report.unanswered == tuple(source.name for source in down)
    assert town.told(1) == ["heat"]


def test_many_cells_and_warnings_are_kept(town: Town) -> None:
    """More than one query takes."""
    with town.store.begin() as work:
        cells = [work.weather.ensure_cell(40.0 + number / 100, -75.0, -300) for number in range(1000)]
        work.warnings.keep(
            PulledWarnings(
                "nws",
                tuple(cells),
                tuple(PlacedWarning(a_warning(f"{number:04}"), tuple(cells)) for number in range(5)),
                frozenset(),
                (),
            )
        )
        work.commit()
    assert town.told(*cells) == [f"{number:04}" for number in range(5)]


def test_a_lawn_is_asked_for_by_its_number(town: Town) -> None:
    town.authority.says((a_warning(), (1,)))
    town.pull()
    assert len(standing_warnings(town.store, now=NOW, lawn_id=1).warnings) == 1
    assert standing_warnings(town.store, now=NOW, lawn_id=2).warnings == ()
    with pytest.raises(InputError, match="no lawn 9"):
        standing_warnings(town.store, now=NOW, lawn_id=9)


def test_settings_name_the_authorities(tmp_path: Path) -> None:
    usual = load_settings(None, environ={}).weather.alerts
    assert (usual.nws, usual.cap_urls) == (True, ())
    said = {
        "MOWALERT_WEATHER__ALERTS__NWS": "false",
        "MOWALERT_WEATHER__ALERTS__CAP_URLS": "https://a.example/f",
    }
    assert load_settings(None, environ=said).weather.alerts.cap_urls == ("https://a.example/f",)
    path = tmp_path / "mowalert.toml"
    path.write_text('[weather.alerts]\ncap_urls = ["file:///etc/passwd"]\n')
    with pytest.raises(ConfigError, match="addresses that begin with https"):
        load_settings(path, environ={})
