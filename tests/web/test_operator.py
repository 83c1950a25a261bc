"""Operators see how the service does, behind a password, and nothing of the people it serves."""

import re
from datetime import UTC, datetime, timedelta

import pytest
import requests
from builders import NOW, a_keeper, a_message
from stores import new_store
from web_people import Visitor, form_in, served

from mowalert.domain.weather import Refusal
from mowalert.domain.words import Channel
from mowalert.errors import InputError
from mowalert.links import Links
from mowalert.service.failures import note_failure
from mowalert.service.upkeep.operators import (
    NOBODY,
    TryLimits,
    operators,
    remove_operator,
    set_operator,
    sign_in,
)
from mowalert.service.upkeep.overview import ages_by_source, overview_of, without_personal
from mowalert.service.upkeep.status import CellState
from mowalert.settings import load_settings
from mowalert.store.engine import SqlStore
from mowalert.web.app import create_app
from mowalert.wiring import open_services

COOKIE = "__Host-operator"
RIGHT, WRONG, NEW = "green grass grows all around", "green grass grows", "another long password"
LINKS = Links("https://lawns.example.org", "a secret of the tests")
SET_AT = datetime(2026, 5, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def olga(request: pytest.FixtureRequest) -> None:
    if "visitor" in request.fixturenames:
        visitor: Visitor = request.getfixturevalue("visitor")
        set_operator(visitor.services.store, "olga", RIGHT, now=SET_AT)


def login(visitor: Visitor, name: str = "olga", password: str = RIGHT, **more: object) -> requests.Response:
    form = {"form": form_in(visitor.get("/operator/login").text), "name": name, "password": password}
    return visitor.post("/operator/login", form, allow_redirects=False, **more)


def session(visitor: Visitor) -> str:
    """Log in; the cookie, which a client that speaks no TLS does not send by itself."""
    answer = login(visitor)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/operator")
    return str(answer.cookies[COOKIE])


def look(visitor: Visitor, cookie: str, path: str = "/operator") -> requests.Response:
    return visitor.get(path, headers={"Cookie": f"{COOKIE}={cookie}"}, allow_redirects=False)


def page(visitor: Visitor) -> str:
    answer = look(visitor, session(visitor))
    assert answer.status_code == 200, answer.text
    return answer.text


def leave(visitor: Visitor, cookie: str, token: str) -> requests.Response:
    headers = {"Cookie": f"{COOKIE}={cookie}"}
    return visitor.post("/operator/logout", {"form": token}, headers=headers, allow_redirects=False)


def words(text: str) -> str:
    """A page's text; a time stands within its line."""
    return " ".join(re.sub(r"<[^>]+>", " ", re.sub(r"</?time[^>]*>", "", text)).split())


def fail(visitor: Visitor, error: str) -> None:
    """Let a text message fail."""
    with visitor.services.store.begin() as work:
        assert work.outbox.add(a_message(keeper_id=1, channel=Channel.SMS))
        (leased,) = work.outbox.lease(now=NOW, until=NOW + timedelta(minutes=5), limit=1)
        work.outbox.settle(leased.message_id, "failed", at=NOW, error=error)
        work.commit()


@pytest.mark.parametrize("cookie", ["", "x", "WzAsIm9sZ2EiXQ.forged"])
def test_without_a_session_the_page_leads_to_the_login(visitor: Visitor, cookie: str) -> None:
    answer = look(visitor, cookie)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/operator/login")
    assert "keepers" not in answer.text
    assert leave(visitor, cookie, "").headers["Location"] == "/operator/login"


def test_the_cookie_is_held_to_this_host_and_kept_from_scripts(visitor: Visitor) -> None:
    said = login(visitor).headers["Set-Cookie"]
    name, *attributes = (part.strip() for part in said.split(";"))
    assert name.startswith("__Host-operator=")
    assert {"HttpOnly", "Secure", "Path=/", "SameSite=strict", "Max-Age=43200"} <= set(attributes)
    assert not any(part.startswith("Domain") for part in attributes)


def test_over_plain_http_the_cookie_goes_without_its_prefix(visitor: Visitor) -> None:
    data = visitor.folder / "plain"
    environ = {"MOWALERT_SERVICE__DATA_DIR": str(data), "MOWALERT_SERVICE__BASE_URL": ""}
    new_store(visitor.folder / "plain.db").close()
    environ["MOWALERT_STORE__URL"] = f"sqlite:///{visitor.folder / 'plain.db'}"
    services = open_services(load_settings(None, environ=environ))
    set_operator(services.store, "olga", RIGHT, now=SET_AT)
    with served(create_app(services, clock=lambda: visitor.now)) as url:
        plain = Visitor(services, url, visitor.folder, visitor.sky)
        answer = login(plain)
        assert answer.headers["Set-Cookie"].startswith("operator=")
        assert "Secure" not in answer.headers["Set-Cookie"]
        assert "How the service does" in plain.get("/operator").text
    services.close()


@pytest.mark.parametrize(("name", "password"), [("nobody", RIGHT), ("", ""), ("o\0", "\0")])
def test_a_wrong_name_and_a_wrong_password_read_the_same(visitor: Visitor, name: str, password: str) -> None:
    answers = [login(visitor, "olga", WRONG), login(visitor, name, password)]
    assert [answer.status_code for answer in answers] == [403, 403]
    assert not any(COOKIE in answer.cookies for answer in answers)
    said, other = (answer.text.replace(form_in(answer.text), "") for answer in answers)
    assert "Name and password do not fit together." in said
    assert said == other


def test_a_form_not_served_by_us_is_not_taken(visitor: Visitor) -> None:
    form = {"form": form_in(visitor.get("/join").text), "name": "olga", "password": RIGHT}
    answer = visitor.post("/operator/login", form)
    assert (answer.status_code, COOKIE in answer.cookies) == (400, False)


def test_after_five_failures_a_name_waits_a_quarter_of_an_hour(visitor: Visitor) -> None:
    for _ in range(5):
        assert login(visitor, password=WRONG).status_code == 403
    answer = login(visitor)
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "900")
    assert "too many tries" in answer.text
    assert "<input" not in answer.text
    assert login(visitor, "Olga ").status_code == 429
    visitor.now += timedelta(minutes=16)
    assert login(visitor).status_code == 303


def test_a_sender_who_tries_many_names_waits_too(visitor: Visitor) -> None:
    for number in range(20):
        assert login(visitor, f"name {number}").status_code == 403
    assert login(visitor).status_code == 429
    # The server of the tests believes this header as it would a proxy's.
    elsewhere = {"headers": {"X-Forwarded-For": "203.0.113.9"}}
    assert login(visitor, **elsewhere).status_code == 303


def test_those_who_know_the_password_never_wait(visitor: Visitor) -> None:
    for _ in range(25):
        session(visitor)


def test_each_login_is_a_session_of_its_own(visitor: Visitor) -> None:
    first, second = session(visitor), session(visitor)
    assert first != second
    planted = {"Cookie": f"{COOKIE}={first}"}
    form = {"form": form_in(visitor.get("/operator/login").text), "name": "olga", "password": RIGHT}
    answer = visitor.post("/operator/login", form, headers=planted, allow_redirects=False)
    assert answer.cookies[COOKIE] not in (first, second)


def test_a_session_ends_after_half_a_day(visitor: Visitor) -> None:
    cookie = session(visitor)
    visitor.now += timedelta(hours=11, minutes=59)
    assert look(visitor, cookie).status_code == 200
    visitor.now += timedelta(minutes=2)
    assert look(visitor, cookie).status_code == 303


def test_a_new_password_ends_every_session(visitor: Visitor) -> None:
    cookies = [session(visitor), session(visitor)]
    set_operator(visitor.services.store, "olga", NEW, now=visitor.now)
    assert [look(visitor, cookie).status_code for cookie in cookies] == [303, 303]
    assert login(visitor).status_code == 403
    assert login(visitor, password=NEW).status_code == 303


def test_a_removed_operator_sees_nothing_more(visitor: Visitor) -> None:
    cookie = session(visitor)
    remove_operator(visitor.services.store, "olga")
    assert look(visitor, cookie).status_code == 303


def test_signing_out_ends_the_session_and_no_other(visitor: Visitor) -> None:
    mine, other = session(visitor), session(visitor)
    answer = leave(visitor, mine, form_in(look(visitor, mine).text))
    assert (answer.status_code, answer.headers["Location"]) == (303, "/operator/login")
    assert "Max-Age=0" in answer.headers["Set-Cookie"]
    assert look(visitor, mine).status_code == 303
    assert look(visitor, other).status_code == 200


def test_nobody_else_can_sign_an_operator_out(visitor: Visitor) -> None:
    mine, other = session(visitor), session(visitor)
    for token in ("", form_in(visitor.get("/join").text), form_in(look(visitor, other).text)):
        assert leave(visitor, mine, token).status_code == 404
    assert look(visitor, mine).status_code == 200


def test_a_keepers_link_is_no_session(visitor: Visitor) -> None:
    token = visitor.join().removeprefix("/my/")
    assert look(visitor, token).status_code == 303


def test_the_page_warns_where_nights_have_stopped(visitor: Visitor) -> None:
    assert "No night has run yet." in page(visitor)
    visitor.night()
    assert 'class="stopped"' not in page(visitor)
    visitor.now += timedelta(days=2)
    assert "Nights have stopped: the newest was 48.0 hours ago." in page(visitor)


def test_the_page_shows_how_the_service_does(visitor: Visitor) -> None:
    visitor.join()
    for _ in range(3):
        visitor.wait(days=1)
    store = visitor.services.store
    with store.begin() as work:
        refusal = Refusal("nws", "t_max_c of 71.2 cannot be")
        work.weather.refuse([(None, refusal), (None, refusal)], at=visitor.now)
        work.commit()
    fail(visitor, "status 401")
    note_failure(store, visitor.now, "database is locked")
    visitor.now += timedelta(hours=1)
    text = words(page(visitor))
    assert "keepers 1" in text
    assert "weather cells 1" in text
    assert "The newest was 1.0 hours ago. No scheduler has said that it runs." in text
    assert "nws 1 1.0 h 1.0 h Every cell in use has weather." in text
    assert "failed 1" in text
    assert "SMS: status 401 1 message, written" in text
    assert "nws: t_max_c of 71.2 cannot be 2 times, last 2026-05-10 15:00" in text
    assert "The last failure, 2026-05-10 15:00: database is locked" in text
    assert "outcome digests" in text


def test_nothing_on_the_page_leads_to_a_person(visitor: Visitor) -> None:
    visitor.join(email="ann@example.org", phone="+12025550147")
    visitor.wait(days=1)
    store = visitor.services.store
    with store.begin() as work:
        refusal = Refusal("met_norway", "wrong place: 41.85, -93.15")
        work.weather.refuse([(None, refusal)], at=visitor.now)
        work.commit()
    said = "550 <ann@example.org> unknown, call +1 202 555 0147"
    fail(visitor, said)
    note_failure(store, visitor.now, "KeyError: 'Ann Lee'")
    text = page(visitor)
    for secret in ("ann@", "Ann Lee", "example.org", "2025550147", "0147", "41.85", "93.15", "Home"):
        assert secret not in text.replace("turf@example.org", "").replace("lawns.example.org", "")
    assert "met_norway: wrong place: …" in words(text)
    assert "KeyError" in text


def test_refusals_and_reasons_are_shown_as_text(visitor: Visitor) -> None:
    note_failure(visitor.services.store, visitor.now, "<script>alert(1)</script>")
    text = page(visitor)
    assert "<script>" not in text
    assert "&lt;script&gt;" in text


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("refused with 550 5.1.1", "refused with 550 5.1.1"),
        ("t_min_c of -71.2 cannot be", "t_min_c of -71.2 cannot be"),
        ("connection to 127.0.0.1, port 5432 failed", "connection to 127.0.0.1, port 5432 failed"),
        ("a day before 2026-05-07 12:00", "a day before 2026-05-07 12:00"),
        ("no such user <bob.lee@example.com>", "no such user …"),
        ("+49 170 1234567 is barred", "… is barred"),
        ("wrong place: 41.85, -93", "wrong place: …"),
        ("wrong place: 41, -93.15", "wrong place: …"),
        ("GET https://api.example/points/41.85,-93.15 gave 500", "GET … gave 500"),
        ("first line\n[parameters: Ann Lee]", "first line"),
    ],
)
def test_reasons_lose_what_could_lead_to_a_person(told: str, shown: str) -> None:
    assert without_personal(told) == shown


def test_ages_are_told_by_source() -> None:
    cells = [CellState(1, "nws", 1.0), CellState(2, "nws", 5.0), CellState(3, "nws", 2.0)]
    cells += [CellState(4, None, None), CellState(5, "met_norway", 3.0)]
    told = [(one.source, one.cells, one.median_h, one.oldest_h) for one in ages_by_source(cells)]
    assert told == [("met_norway", 1, 3.0, 3.0), ("nws", 3, 2.0, 5.0)]


@pytest.fixture
def people(store: SqlStore) -> SqlStore:
    set_operator(store, "olga", RIGHT, now=SET_AT)
    return store


def try_it(store: SqlStore, name: str = "olga", password: str = RIGHT, **more: object) -> bool:
    now = SET_AT + timedelta(days=1)
    tried = sign_in(store, LINKS, name, password, sender="203.0.113.9", now=now, **more)  # type: ignore[arg-type]
    return tried.operator is not None


def test_operators_are_kept_alike_in_both_stores(people: SqlStore) -> None:
    assert not set_operator(people, "olga", RIGHT, now=SET_AT + timedelta(hours=1))
    assert set_operator(people, "  Émile  Noir ", "é" * 12, now=SET_AT)
    assert [one.name for one in operators(people)] == sorted(["olga", "Émile Noir"])
    assert try_it(people, "E\u0301mile Noir", "e\u0301" * 12)
    assert not try_it(people, "olga", "\0")
    remove_operator(people, "olga")
    assert not try_it(people)
    with pytest.raises(InputError, match="there is no operator 'olga'"):
        remove_operator(people, "olga")


def test_only_the_hash_of_a_password_is_kept(people: SqlStore) -> None:
    with people.begin() as work:
        record = work.operators.get("olga")
    assert record is not None
    assert record.password_hash.startswith("$argon2id$")
    assert record.password_hash not in repr(record)


def test_an_unknown_name_costs_the_work_of_a_known_one(people: SqlStore) -> None:
    with people.begin() as work:
        record = work.operators.get("olga")
    assert record is not None
    assert NOBODY.split("$")[:4] == record.password_hash.split("$")[:4]


def test_failures_are_forgiven_by_time_and_not_by_others_logins(people: SqlStore) -> None:
    limits = TryLimits(per_name=2)
    for password in (WRONG, RIGHT, WRONG):
        try_it(people, password=password, limits=limits)
    assert not try_it(people, limits=limits)


def test_failed_messages_are_told_by_reason_the_newest_first(store: SqlStore) -> None:
    with store.begin() as work:
        round_id = work.rounds.ensure(
            daily_list=False, time_zone="America/New_York", weekdays=8, minute_of_day=1080, mixed=False
        )
        keeper_id = work.keepers.add(a_keeper(round_id=round_id))
        for number, reason in enumerate(["old", "refused", "refused", "busy", "fine"]):
            at = NOW + timedelta(minutes=number)
            message = a_message(keeper_id=keeper_id, round_id=round_id, kind=str(number), created_at=at)
            assert work.outbox.add(message)
            (leased,) = work.outbox.lease(now=NOW, until=NOW + timedelta(hours=1), limit=1)
            state = "sent" if reason == "fine" else "failed"
            work.outbox.settle(leased.message_id, state, at=NOW, error=reason)
        told = work.operators.failed_messages(among=4, limit=10)
        one = work.operators.failed_messages(among=4, limit=1)
    assert [(message.reason, message.count) for message in told] == [("busy", 1), ("refused", 2)]
    assert told[1].newest_at == NOW + timedelta(minutes=2)
    assert one == told[:1]


def test_names_and_passwords_that_cannot_be_are_refused(store: SqlStore) -> None:
    for password in ("", "short", "e" * 11, "a  b  c  d  e", "x" * 201):
        with pytest.raises(InputError, match="12 to 200 are allowed"):
            set_operator(store, "olga", password, now=SET_AT)
    for name in ("", "  ", "\0", "x" * 81):
        with pytest.raises(InputError, match="a name of 1 to 80 letters"):
            set_operator(store, name, RIGHT, now=SET_AT)
    assert operators(store) == []


def test_an_empty_store_has_an_overview(store: SqlStore) -> None:
    seen = overview_of(store, now=SET_AT)
    assert (seen.sources, seen.failed, seen.refused, seen.status.overdue) == ((), (), (), True)
