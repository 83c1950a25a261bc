"""Alerts of the US National Weather Service as it really sent them, and as it must not stop a night."""

import json
from collections.abc import Callable
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ports import free_port
from weather_server import WeatherServer

from mowalert.domain.warnings import OfficialWarning, Severity, WarningKind
from mowalert.domain.weather import Place
from mowalert.errors import SourceError
from mowalert.service.ports import PulledWarnings
from mowalert.weather.alert_json import read_alerts, read_zones
from mowalert.weather.alert_words import identity, kind_of, line, link, moment, text
from mowalert.weather.alerts import NwsAlerts
from mowalert.weather.http import Http

SUMMER = "alerts_active_summer_heat_selection.json"
WINTER = "alerts_active_winter_freeze_selection.json"
OLD = "alerts_active_by_zone_2019_old_id_form.json"
JULY = datetime(2026, 7, 15, 20, 10, tzinfo=UTC)
DECEMBER = datetime(2025, 12, 15, 22, 0, tzinfo=UTC)
MINNEAPOLIS = Place(7, 44.95, -93.25, -360)
HENNEPIN = ("forecast/MNZ060", "county/MNC053")


class Country:
    """The service on loopback: recorded alerts, and places whose zones a test sets."""

    def __init__(self, server: WeatherServer, payloads: Path) -> None:
        self.server = server
        self._folder = payloads / "nws"
        self._points: dict[str, tuple[str, ...]] = {}
        server.asks("/points/", self._point)
        self.client = NwsAlerts(Http(contact="a test", tries=1), url=server.url)

    def recorded(self, name: str) -> Any:
        return json.loads((self._folder / name).read_text())

    def has(self, place: Place, *zones: str) -> None:
        self._points[f"{place.latitude_deg:g},{place.longitude_deg:g}"] = zones

    def _point(self, path: str) -> tuple[int, bytes]:
        zones = self._points.get(path.removeprefix("/points/"))
        if zones is None:
            return 404, json.dumps(self.recorded("problem_404_invalid_point.json")).encode()
        body = self.recorded("points_albany_ny.json")
        keys = {"forecast": "forecastZone", "county": "county", "fire": "fireWeatherZone"}
        found = {keys[zone.partition("/")[0]]: f"https://api.weather.gov/zones/{zone}" for zone in zones}
        body["properties"] |= dict.fromkeys(keys.values()) | found
        return 200, json.dumps(body).encode()

    def alerts(self, *features: Any) -> None:
        self.server.says("/alerts/active", {"type": "FeatureCollection", "features": list(features)})

    def feature(self, name: str, *, event: str, zone: str) -> dict[str, Any]:
        """The recorded alert of an event that names a zone."""
        return next(
            deepcopy(feature)
            for feature in self.recorded(name)["features"]
            if feature["properties"]["event"] == event
            and any(address.endswith(zone) for address in feature["properties"]["affectedZones"])
        )

    def pull(self, *places: Place, now: datetime = JULY) -> PulledWarnings:
        return self.client.pull(places, now=now)

    def warnings(self, *places: Place, now: datetime = JULY) -> list[OfficialWarning]:
        return [placed.warning for placed in self.pull(*places, now=now).found]


@pytest.fixture
def country(server: WeatherServer, payloads: Path) -> Country:
    made = Country(server, payloads)
    server.says("/alerts/active", made.recorded(SUMMER))
    made.has(MINNEAPOLIS, *HENNEPIN)
    return made


def test_a_warning_is_told_in_its_senders_own_words(country: Country) -> None:
    (placed,) = country.pull(MINNEAPOLIS).found
    said = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")["properties"]
    warning = placed.warning
    assert placed.cell_ids == (7,)
    assert (warning.event, warning.sender) == ("Extreme Heat Warning", "NWS Twin Cities/Chanhassen MN")
    assert (warning.headline, warning.instruction) == (said["headline"], said["instruction"])
    assert (warning.kind, warning.severity) == (WarningKind.HEAT, Severity.SEVERE)
    assert warning.areas[:2] == ("Hennepin", "Anoka")
    assert (warning.warning_id, warning.url) == (said["id"], said["@id"])
    assert warning.language == "en-US"


def test_it_asks_for_the_zones_its_cells_lie_in_and_for_each_once(country: Country) -> None:
    near = Place(8, 44.85, -93.25, -360)
    country.has(near, "forecast/MNZ060", "county/MNC037")
    pulled = country.pull(MINNEAPOLIS, near)
    (alerts,) = [path for path in country.server.asked if path.startswith("/alerts")]
    assert alerts == "/alerts/active?zone=MNC037%2CMNC053%2CMNZ060"
    assert pulled.answered == (7, 8)
    assert pulled.found[0].cell_ids == (7, 8)
    country.pull(MINNEAPOLIS, near)
    assert sum(path.startswith("/points") for path in country.server.asked) == 2


def test_zones_are_looked_up_again_after_a_week(country: Country) -> None:
    country.pull(MINNEAPOLIS)
    country.pull(MINNEAPOLIS, now=JULY + timedelta(days=8))
    assert sum(path.startswith("/points") for path in country.server.asked) == 2


def test_an_alert_for_other_zones_is_for_nobody_here(country: Country) -> None:
    elsewhere = Place(9, 42.75, -73.75, -300)
    country.has(elsewhere, "forecast/NYZ052", "county/NYC001", "fire/NYZ208")
    pulled = country.pull(elsewhere)
    assert (pulled.found, pulled.answered, pulled.refused) == ((), (9,), ())


def test_a_fire_zone_is_not_the_forecast_zone_of_the_same_number(country: Country) -> None:
    prairie = Place(10, 42.0, -103.0, -420)
    country.has(prairie, "forecast/NEZ434")
    assert country.warnings(prairie) == []
    grassland = Place(11, 42.1, -103.0, -420)
    country.has(grassland, "forecast/NEZ002", "fire/NEZ434")
    assert [warning.event for warning in country.warnings(grassland)] == ["Red Flag Warning"]


def test_the_events_end_counts_and_not_the_moment_its_message_lapses(country: Country) -> None:
    """The message lapses in the night of the 16th, the heat on the evening of the 17th."""
    assert country.warnings(MINNEAPOLIS)[0].ends_at == datetime(2026, 7, 18, 2, tzinfo=UTC)
    assert country.warnings(MINNEAPOLIS, now=datetime(2026, 7, 18, 1, 59, tzinfo=UTC))
    assert country.warnings(MINNEAPOLIS, now=datetime(2026, 7, 18, 2, tzinfo=UTC)) == []


def test_an_event_that_ends_before_its_message_lapses_is_over_at_its_end(country: Country) -> None:
    alexandria = Place(12, 45.85, -95.35, -360)
    country.has(alexandria, "forecast/MNZ041")
    assert country.warnings(alexandria)[0].ends_at == datetime(2026, 7, 16, 2, tzinfo=UTC)
    assert country.warnings(alexandria, now=datetime(2026, 7, 16, 3, tzinfo=UTC)) == []


@pytest.mark.parametrize("missing", [True, False])
def test_without_an_end_it_lasts_as_long_as_its_message(country: Country, missing: bool) -> None:
    duluth = Place(13, 47.95, -92.95, -360)
    country.has(duluth, "forecast/MNZ018")
    statement = country.feature(SUMMER, event="Special Weather Statement", zone="MNZ018")
    assert statement["properties"]["ends"] is None
    if missing:
        del statement["properties"]["ends"]
    country.alerts(statement)
    assert country.warnings(duluth)[0].ends_at == datetime(2026, 7, 16, 0, tzinfo=UTC)


def test_with_neither_it_lasts_a_day(country: Country) -> None:
    heat = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")
    heat["properties"] |= {"ends": None, "expires": None}
    country.alerts(heat)
    assert country.warnings(MINNEAPOLIS)[0].ends_at == datetime(2026, 7, 16, 18, 4, tzinfo=UTC)


def test_a_polygon_is_sharper_than_its_county(country: Country) -> None:
    country.server.says("/alerts/active", country.recorded(WINTER))
    flood = country.feature(WINTER, event="Flood Warning", zone="WAC033")
    assert "ends" not in flood["properties"]
    longitude, latitude = flood["geometry"]["coordinates"][0][0]
    river, hills = Place(1, latitude, longitude, -480), Place(2, latitude, longitude + 1, -480)
    country.has(river, "county/WAC033")
    country.has(hills, "county/WAC033")
    found = {placed.warning.warning_id: placed for placed in country.pull(river, hills, now=DECEMBER).found}
    placed = found[flood["properties"]["id"]]
    assert placed.cell_ids == (1,)
    assert placed.warning.ends_at == datetime(2025, 12, 16, 1, 45, tzinfo=UTC)
    assert placed.warning.kind is WarningKind.OTHER


def test_a_freeze_is_one_to_come_before_it_begins(country: Country) -> None:
    country.server.says("/alerts/active", country.recorded(WINTER))
    tallahassee = Place(3, 30.45, -84.25, -300)
    country.has(tallahassee, "forecast/GAZ155")
    (warning,) = country.warnings(tallahassee, now=DECEMBER)
    assert (warning.kind, warning.event) == (WarningKind.FREEZE, "Freeze Warning")
    assert warning.onset_at > DECEMBER


def test_bad_air_holds_until_its_message_lapses(country: Country) -> None:
    """It tells neither a severity nor an end."""
    country.server.says("/alerts/active", country.recorded(SUMMER))
    sussex = Place(3, 41.15, -74.75, -300)
    country.has(sussex, "forecast/NJZ001")
    (warning,) = country.warnings(sussex)
    assert (warning.kind, warning.event) == (WarningKind.AIR, "Air Quality Alert")
    assert warning.headline == "Air Quality Alert issued July 15 at 3:45PM EDT by NWS Mount Holly NJ"
    assert warning.ends_at == datetime(2026, 7, 17, 4, tzinfo=UTC)


def test_alerts_of_2019_with_ids_of_another_form_are_read(country: Country) -> None:
    coast = Place(4, 44.65, -123.95, -480)
    country.has(coast, "forecast/ORZ004")
    country.server.says("/alerts/active", country.recorded(OLD))
    pulled = country.pull(coast, now=datetime(2019, 12, 20, 22, tzinfo=UTC))
    (placed,) = pulled.found
    assert placed.warning.warning_id == "NWS-IDP-PROD-3965873-3369046"
    assert len(pulled.replaced) == 4


def test_every_recorded_alert_is_read_and_those_named_by_code_have_their_kind(country: Country) -> None:
    for name, expected in ((SUMMER, 23), (WINTER, 14), (OLD, 1)):
        messages, broken = read_alerts(200, country.recorded(name))
        assert (len(messages), broken) == (expected, 0)
        for message in messages:
            (found,) = message.warnings
            kind, event = found.warning.kind, found.warning.event
            assert (kind is WarningKind.HEAT) is ("Heat" in event), event
            assert (kind is WarningKind.FREEZE) is ("Freeze" in event or "Cold" in event), event
            assert (kind is WarningKind.AIR) is ("Air" in event), event


Change = Callable[[dict[str, Any]], object]
SILENT: dict[str, Change] = {
    "a test": lambda said: said.update(status="Test"),
    "an exercise": lambda said: said.update(status="Exercise"),
    "no status": lambda said: said.update(status=None),
    "a test product": lambda said: said["parameters"].update(VTEC=["/T.NEW.KMPX.XH.W.0002.000000T0000Z-"]),
    "for some only": lambda said: said.update(scope="Restricted"),
    "a cancellation": lambda said: said.update(messageType="Cancel"),
    "an event that was cancelled": lambda said: said["parameters"].update(
        VTEC=["/O.CAN.KMPX.XH.W.0002.000000T0000Z-260718T0200Z/"]
    ),
    "all clear": lambda said: said.update(response="AllClear"),
    "past": lambda said: said.update(urgency="Past"),
    "an acknowledgement": lambda said: said.update(messageType="Ack"),
}


@pytest.mark.parametrize("change", SILENT)
def test_what_does_not_warn_for_real_is_left_out(country: Country, change: str) -> None:
    heat = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")
    SILENT[change](heat["properties"])
    country.alerts(heat)
    pulled = country.pull(MINNEAPOLIS)
    assert (pulled.found, pulled.refused) == ((), ())


def refers(later: dict[str, Any], earlier: dict[str, Any], kind: str, **changes: str) -> dict[str, Any]:
    """Another message about an earlier one."""
    said = {"identifier": earlier["properties"]["id"], "sender": "w-nws.webmaster", "sent": "x"}
    later["properties"] |= {"id": "urn:oid:later", "messageType": kind, "references": [said]} | changes
    return later


def test_an_update_stands_in_for_what_it_refers_to(country: Country) -> None:
    heat = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")
    update = refers(deepcopy(heat), heat, "Update", sent="2026-07-15T14:30:00-05:00", headline="Longer")
    country.alerts(heat, update)
    assert [warning.headline for warning in country.warnings(MINNEAPOLIS)] == ["Longer"]


def test_a_cancellation_ends_what_it_refers_to_and_a_test_of_one_does_not(country: Country) -> None:
    heat = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")
    cancelled = refers(deepcopy(heat), heat, "Cancel", sent="2026-07-15T14:30:00-05:00")
    country.alerts(heat, cancelled)
    pulled = country.pull(MINNEAPOLIS)
    assert pulled.found == ()
    assert pulled.replaced == {heat["properties"]["id"]}
    cancelled["properties"]["status"] = "Test"
    country.alerts(heat, cancelled)
    assert len(country.warnings(MINNEAPOLIS)) == 1


def test_two_updates_that_refer_to_each_other_do_not_both_vanish(country: Country) -> None:
    heat = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")
    update = refers(deepcopy(heat), heat, "Update", sent="2026-07-15T14:30:00-05:00")
    heat["properties"] |= {"messageType": "Update", "references": [{"identifier": "urn:oid:later"}]}
    country.alerts(heat, update)
    assert [warning.warning_id for warning in country.warnings(MINNEAPOLIS)] == ["urn:oid:later"]


def test_outside_the_united_states_nobody_is_asked(country: Country) -> None:
    pulled = country.pull(Place(1, 48.85, 2.35, 60), Place(2, -33.85, 151.25, 600))
    assert (pulled.answered, pulled.found, pulled.refused) == ((), (), ())
    assert country.server.asked == []


def test_a_place_the_service_does_not_know_is_no_fault_and_asked_for_once(country: Country) -> None:
    toronto = Place(2, 43.75, -79.45, -300)
    for _ in range(2):
        pulled = country.pull(toronto)
        assert (pulled.answered, pulled.found, pulled.refused) == ((), (), ())
    assert country.server.asked == ["/points/43.75,-79.45"]


@pytest.mark.parametrize("place", [Place(1, 13.45, 144.75, 600), Place(1, 21.35, -157.85, -600)])
def test_islands_are_asked_for(country: Country, place: Place) -> None:
    country.pull(place)
    assert len(country.server.asked) == 1


FAULTS = {
    "HTML": (b"<!doctype html>", 200),
    "truncated": (b'{"features": [', 200),
    "no list": (b'{"features": {}}', 200),
    "a server's fault": (b'{"title": "Unexpected Problem"}', 500),
    "out of bounds": (b'{"title": "Invalid Parameter", "status": 400}', 400),
    "no object": (b"[]", 200),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_and_leaves_every_cell_unanswered(country: Country, fault: str) -> None:
    country.server.says("/alerts/active", *FAULTS[fault])
    pulled = country.pull(MINNEAPOLIS)
    assert (pulled.answered, pulled.found) == ((), ())
    assert len(pulled.refused) == 1


def test_a_service_that_is_down_is_given_up_after_two_places() -> None:
    client = NwsAlerts(Http(contact="", tries=1), url=f"http://127.0.0.1:{free_port()}")
    pulled = client.pull([Place(n, 40.0 + n / 10, -90.0, -360) for n in range(9)], now=JULY)
    assert [cell_id for cell_id, _ in pulled.refused] == [0, 1]


def test_finding_zones_may_take_more_than_one_pull(country: Country) -> None:
    client = NwsAlerts(Http(contact="", tries=1), url=country.server.url, patience_s=-1)
    pulled = client.pull([MINNEAPOLIS], now=JULY)
    assert "takes too long" in pulled.refused[0][1].reason
    assert country.server.asked == []


def test_one_broken_alert_does_not_cost_the_others(country: Country) -> None:
    heat = country.feature(SUMMER, event="Extreme Heat Warning", zone="MNZ060")
    country.alerts({"properties": {"id": 3}}, None, heat)
    pulled = country.pull(MINNEAPOLIS)
    assert len(pulled.found) == 1
    assert "2 alerts cannot be read" in pulled.refused[0][1].reason


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
MOMENTS = st.sampled_from(
    ["2026-07-15T13:04:00-05:00", "0001-01-01T00:00:00+14:00", "2026-07-15", "9999-12-31"]
)


@given(ANY_JSON, st.sampled_from([200, 404, 500]))
def test_no_answer_raises_anything_but_a_sources_error(body: Any, status: int) -> None:
    for read in (read_alerts, read_zones):
        try:
            read(status, body)
        except SourceError:
            continue


class Says:
    """Answers every question with one body, and every point with one zone."""

    def __init__(self, body: Any) -> None:
        self._body = body

    def get_json(self, source: str, url: str, params: Any = None) -> tuple[int, Any]:
        zone = {"forecastZone": "https://api.weather.gov/zones/forecast/MNZ060"}
        return 200, {"properties": zone} if "/points/" in url else self._body


@given(st.data())
def test_whatever_one_value_becomes_the_pull_goes_on(payloads: Path, data: st.DataObject) -> None:
    features = json.loads((payloads / "nws" / SUMMER).read_text())["features"]
    feature = data.draw(st.sampled_from(features))
    part = data.draw(st.sampled_from([feature, feature["properties"], feature["properties"]["parameters"]]))
    part[data.draw(st.sampled_from(sorted(part)))] = data.draw(ANY_JSON | MOMENTS)
    feature["geometry"] = data.draw(
        st.none()
        | st.fixed_dictionaries(
            {"type": st.sampled_from(["Polygon", "MultiPolygon", 3]), "coordinates": ANY_JSON}
        )
    )
    asker = Says({"features": [feature]})
    pulled = NwsAlerts(asker).pull([MINNEAPOLIS], now=JULY)
    assert pulled.answered == (7,)


def test_names_tell_the_kind_where_there_is_no_code() -> None:
    expected = {
        "Air Quality Alert": WarningKind.AIR,
        "Excessive Heat Watch": WarningKind.HEAT,
        "Wind Chill Advisory": WarningKind.FREEZE,
        "Orange Wind Warning": WarningKind.STORM,
        "Dust Storm Warning": WarningKind.STORM,
        "Severe frost": WarningKind.FREEZE,
        "Aviso de viento de nivel amarillo": WarningKind.STORM,
        "Flood Watch": WarningKind.OTHER,
        "Theater of the absurd": WarningKind.OTHER,
    }
    assert {name: kind_of(name) for name in expected} == expected
    assert kind_of("Extreme Heat", ["/O.NEW.KSEW.FL.W.0044.000000T0000Z-/"]) is WarningKind.OTHER
    assert kind_of("Gelbe Warnung", said="5; high-temperature") is WarningKind.HEAT


def test_texts_lose_what_moves_a_cursor_and_nothing_else() -> None:
    assert line("Heat\x1b[2J\x00 \u202eAdvisory\u0085\r\n in  Zürich ") == "Heat[2J Advisory in Zürich"
    assert text("Drink.\r\n\r\nRest.\x07  ") == "Drink.\n\nRest."
    assert line("x" * 500).endswith("x…")
    assert line(None) == line(3) == text([]) == ""


def test_only_web_addresses_are_links() -> None:
    assert link(" https://example.org/a?b=1 ") == "https://example.org/a?b=1"
    for bad in (
        "javascript:alert(1)",
        "https://",
        "http://[",
        'https://e.org/"onclick',
        "ftp://e.org",
        "//e",
        3,
    ):
        assert link(bad) == ""


def test_moments_need_a_zone_and_ids_no_space() -> None:
    assert moment("2026-07-15T14:30:00-05:00") == datetime(2026, 7, 15, 19, 30, tzinfo=UTC)
    for bad in ("2026-07-15T14:30:00", "soon", "", None, "0001-01-01T00:00:00+14:00"):
        assert moment(bad) is None
    assert identity("urn:oid:1.2") == "urn:oid:1.2"
    for bad in ("a b", "a,b", "<a>", "", 3, "x" * 301):
        assert identity(bad) == ""
