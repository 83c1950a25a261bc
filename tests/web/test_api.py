"""Programs ask in a keeper's name: they see that keeper's lawns only, and nothing they say counts twice."""

import socket
from datetime import timedelta
from typing import Any

import pytest
import requests
from web_people import Visitor
from web_programs import ANNS, HEADER, TODAY, Program, enrolled, program

from mowalert.service.keepers.keys import Scope, revoke_key
from mowalert.service.lawns.look import due_now, held_now
from mowalert.web.api.problems import WORDS
from mowalert.web.app import HEADERS

ROW = "{keeper},{kind},{email},{site},,41.85,-93.15,kentucky_bluegrass,65,regular,,\n"


def row(**changes: str) -> str:
    own = {"keeper": "Town Greens", "kind": "company", "email": "office@example.org", "site": "Oak Road 5"}
    return ROW.format(**(own | changes))


@pytest.fixture
def office(visitor: Visitor) -> Program:
    """A company's program with every scope; the neighbour has a lawn too."""
    enrolled(visitor)
    return program(visitor)


def problem(answer: requests.Response, status: int) -> dict[str, Any]:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    told: dict[str, Any] = answer.json()
    assert (told["type"], told["status"]) == ("about:blank", status)
    return told


def test_a_program_sees_its_keepers_lawns_only_a_page_at_a_time(office: Program) -> None:
    first = office.get("/lawns", params={"limit": 2})
    assert [lawn["place"] for lawn in first["lawns"]] == ["Elm Lane 1", "Elm Lane 3, front"]
    rest = office.get("/lawns", params={"limit": 2, "after": first["next"]})
    assert [lawn["place"] for lawn in rest["lawns"]] == ["Elm Lane 3, back"]
    assert rest["next"] is None
    assert office.get("/lawns", params={"limit": 3})["next"] is None


def test_a_lawn_is_shown_with_all_that_is_set_for_it(office: Program) -> None:
    lawn = office.get("/lawns/1")
    assert lawn["site"]["name"] == "Elm Lane 1"
    assert lawn["grass"] == "kentucky_bluegrass"
    assert lawn["chosen_height_mm"] == 65
    assert lawn["limit_height_mm"] == pytest.approx(97.5)
    assert lawn["anchor"] == {"on": "2026-05-05", "height_mm": 65.0, "assumed": False}
    assert 65 < lawn["height_mm"] < 97.5
    assert lawn["guide"] is None
    assert lawn["mowing_days"] == ["mon", "tue", "wed", "thu", "fri"]


def test_the_outlook_names_where_its_weather_is_from(office: Program) -> None:
    seen = office.get("/lawns/1/outlook")
    assert seen["days"][0]["on"] == TODAY.isoformat()
    assert len(seen["days"]) == 10
    assert seen["fresh"]
    assert seen["attributions"] == ["Source: NOAA / National Weather Service"]


def test_a_lawn_without_weather_has_no_outlook_yet(office: Program) -> None:
    office.table(f"{HEADER}\n{row().replace('41.85', '45.05')}")
    assert office.get("/lawns/5")["height_mm"] is None
    assert "no weather yet" in problem(office.ask("GET", "/lawns/5/outlook"), 404)["detail"]


def test_what_is_due_and_held_is_what_the_commands_say_of_this_keeper(office: Program) -> None:
    visitor, made = office.visitor, office.visitor.services
    for _ in range(9):
        visitor.wait(days=1)
    office.say("/lawns/2/kept-off", {"reason": "event", "first_on": "2026-05-16", "last_on": "2026-05-16"})
    for ours, every in (("/due", due_now), ("/holds", held_now)):
        told = office.get(ours)
        notices = every(made.store, made.turf, made.policy, now=visitor.now)
        assert [one["lawn_id"] for one in told["lawns"]] == [
            one.lawn_id for one in notices if one.lawn_id != ANNS
        ]
        assert [one["kind"] for one in told["lawns"]] == [one.kind for one in notices if one.lawn_id != ANNS]
        assert told["lawns"]
        assert told["on"] == "2026-05-16"
    (held,) = office.get("/holds")["lawns"]
    assert (held["reason"], held["holds"][0]["ended_on"]) == ("event", "2026-05-16")


def test_notices_that_went_out_can_be_read_again(office: Program) -> None:
    while not office.get("/lawns/1/notices")["notices"]:
        office.visitor.wait(days=1)
    (told, *_) = office.get("/lawns/1/notices", params={"limit": 1})["notices"]
    assert told["kind"] in ("mow", "may_mow")
    assert told["facts"]["site_name"] == "Elm Lane 1"


def test_a_cut_said_twice_counts_once(office: Program) -> None:
    first = office.say("/lawns/1/mowings", {"height_mm": 60})
    again = office.say("/lawns/1/mowings", {"height_mm": 60.0, "on": TODAY.isoformat()}, expect=200)
    assert (first["repeated"], again["repeated"]) == (False, True)
    assert again["report_id"] == first["report_id"]
    assert 0 < first["removed_fraction"] == again["removed_fraction"]
    assert office.get("/lawns/1")["anchor"] == {"on": TODAY.isoformat(), "height_mm": 60.0, "assumed": False}
    other = office.say("/lawns/1/mowings", {"height_mm": 62})
    assert other["report_id"] != first["report_id"]


def test_a_cut_is_to_the_chosen_height_where_none_is_said(office: Program) -> None:
    assert office.say("/lawns/3/mowings", {})["height_mm"] == 90


def test_a_measured_height_is_heeded_once_it_closes_an_interval(office: Program) -> None:
    assert not office.say("/lawns/3/heights", {"height_mm": 95})["taught"]
    office.visitor.wait(days=7)
    first = office.say("/lawns/3/heights", {"height_mm": 125})
    again = office.say("/lawns/3/heights", {"height_mm": 125}, expect=200)
    assert first["taught"]
    assert {**first, "repeated": True} == again


def test_taking_back_a_named_report_twice_takes_back_no_other(office: Program) -> None:
    office.say("/lawns/1/mowings", {"height_mm": 60, "on": "2026-05-06"})
    newest = office.say("/lawns/1/mowings", {"height_mm": 60})["report_id"]
    path = f"/lawns/1/reports/newest?report_id={newest}"
    undone = office.ask("DELETE", path).json()
    assert (undone["report_id"], undone["on"]) == (newest, TODAY.isoformat())
    assert "not the newest" in problem(office.ask("DELETE", path), 404)["detail"]
    assert office.get("/lawns/1")["anchor"]["on"] == "2026-05-06"
    for _ in range(2):
        assert office.ask("DELETE", "/lawns/1/reports/newest").status_code == 200
    told = problem(office.ask("DELETE", "/lawns/1/reports/newest"), 404)
    assert "nothing has been reported" in told["detail"]


def test_days_to_be_left_alone_are_kept_once_and_taken_back(office: Program) -> None:
    days = {"reason": "event", "first_on": "2026-05-09", "last_on": "2026-05-10", "note": "A concert."}
    first = office.say("/lawns/1/kept-off", days)
    again = office.say("/lawns/1/kept-off", days, expect=200)
    assert again["kept_off_id"] == first["kept_off_id"]
    assert [one["note"] for one in office.get("/lawns/1")["kept_off"]] == ["A concert."]
    number = first["kept_off_id"]
    problem(office.ask("DELETE", f"/lawns/2/kept-off/{number}"), 404)
    assert office.ask("DELETE", f"/lawns/1/kept-off/{number}").status_code == 200
    problem(office.ask("DELETE", f"/lawns/1/kept-off/{number}"), 404)
    assert office.get("/lawns/1")["kept_off"] == []


def test_a_keeper_is_silent_until_a_day_and_no_longer(office: Program) -> None:
    said = office.say("/keeper/pause", {"until": "2026-05-20"}, method="PUT", expect=200)
    assert said == {"paused_until": "2026-05-20"}
    said = office.say("/keeper/pause", {"until": None}, method="PUT", expect=200)
    assert said == {"paused_until": None}


def test_a_neighbours_lawn_is_as_if_there_were_none(office: Program) -> None:
    ann = program(office.visitor, "ann@example.org")
    days = {"reason": "noise", "first_on": "2026-05-09", "last_on": "2026-05-09", "note": "Quiet hours."}
    ann.say(f"/lawns/{ANNS}/kept-off", days)
    before = ann.get(f"/lawns/{ANNS}")
    for method, path, body in (
        ("GET", "", None),
        ("GET", "/outlook", None),
        ("GET", "/notices", None),
        ("POST", "/mowings", {}),
        ("POST", "/heights", {"height_mm": 70}),
        ("DELETE", "/reports/newest", None),
        ("POST", "/kept-off", days),
        ("DELETE", "/kept-off/1", None),
    ):
        theirs = problem(office.ask(method, f"/lawns/{ANNS}{path}", json=body), 404)
        nobodys = problem(office.ask(method, f"/lawns/99{path}", json=body), 404)
        assert theirs["detail"].replace(str(ANNS), "99") == nobodys["detail"]
    assert ann.get(f"/lawns/{ANNS}") == before


def test_a_table_enrols_this_keepers_lawns_and_explains_every_other_row(office: Program) -> None:
    table = (
        f"{HEADER}\n"
        + row()
        + row(site="Oak Road 7", keeper="Ann", kind="homeowner", email="ann@example.org")
        + row(site="Oak Road 9", email="elsewhere@example.org")
        + row(site="Oak Road 11").replace("kentucky_bluegrass", "moss")
    )
    told = office.table(table, dry_run=True)
    assert (told["stored"], told["added"], told["refused_rows"]) == (False, 1, 3)
    assert len(office.get("/lawns")["lawns"]) == 3
    problem_text = office.table(table, all_or_nothing=True, expect=422)
    assert {one["line"] for one in problem_text["errors"]} == {3, 4, 5}
    assert len(office.get("/lawns")["lawns"]) == 3
    told = office.table(table)
    assert (told["stored"], told["added"], told["refused_rows"]) == (True, 1, 3)
    assert [(one["line"], one["column"]) for one in told["problems"]] == [
        (3, "keeper"),
        (4, "keeper"),
        (5, "grass"),
    ]
    assert [lawn["place"] for lawn in office.get("/lawns")["lawns"]][-1] == "Oak Road 5"
    assert office.table(table)["unchanged"] == 1
    assert len(program(office.visitor, "ann@example.org").get("/lawns")["lawns"]) == 1


def test_a_table_cannot_move_where_notices_go(office: Program) -> None:
    table = f"{HEADER},phone\n" + row().replace("\n", ",+15155550100\n")
    told = office.table(table)
    assert [(one["line"], one["column"]) for one in told["problems"]] == [(2, "phone")]
    assert told["added"] == 0


def test_a_table_that_is_none_is_refused(office: Program) -> None:
    for table, says in (
        (b"\xff\xfe", "not UTF-8"),
        (b"", "empty"),
        (b"keeper,kind\n", "lacks the columns"),
        (b'keeper,"kind\n', "quote"),
        (b"lawn," * 400_000, "columns"),
        (HEADER.encode() + b"\n" + b"a\n" * 501, "at most 500"),
    ):
        assert says in office.table(table, expect=422)["detail"]


def test_a_table_may_be_larger_than_anything_else(office: Program) -> None:
    rows = (row(site=f"Oak Road {number}").strip() + "," + "x" * 90_000 for number in range(20))
    told = office.table(f"{HEADER},comment\n" + "\n".join(rows))
    assert (told["added"], told["extra_columns"]) == (20, ["comment"])
    large = office.ask("POST", "/lawns/1/mowings", data=b"x" * 70_000)
    assert "too large" in problem(large, 413)["detail"]
    answer = office.ask("POST", "/lawns", data=b"x" * 3_000_000, headers={"Content-Type": "text/csv"})
    problem(answer, 413)


def test_nobody_gets_in_without_a_key_that_is_good(office: Program) -> None:
    visitor = office.visitor
    bare = visitor.get("/api/v1/lawns")
    problem(bare, 401)
    assert bare.headers["WWW-Authenticate"] == 'Bearer realm="mowalert"'
    wrong = Program(visitor, "mow_nonsense").ask("POST", "/lawns/1/mowings", data=b"{", headers={})
    problem(wrong, 401)
    assert 'error="invalid_token"' in wrong.headers["WWW-Authenticate"]
    problem(visitor.get("/api/v1/lawns", headers={"Authorization": f"Basic {office.key}"}), 401)
    office.get("/lawns")
    revoke_key(visitor.services.store, 1, now=visitor.now)
    problem(office.ask("GET", "/lawns"), 401)


def test_a_key_does_what_it_was_made_for_and_no_more(office: Program) -> None:
    reader = program(office.visitor, scopes=[Scope.READ])
    reader.get("/due")
    refused = reader.ask("POST", "/lawns/1/mowings", json={})
    assert "report" in problem(refused, 403)["detail"]
    assert 'scope="report"' in refused.headers["WWW-Authenticate"]
    problem(program(office.visitor, scopes=[Scope.REPORT]).ask("GET", "/lawns"), 403)
    problem(program(office.visitor, scopes=[Scope.READ, Scope.REPORT]).ask("POST", "/lawns", data=b""), 403)


def test_whoever_tries_keys_is_kept_waiting_and_whoever_has_one_is_not(office: Program) -> None:
    guesser = Program(office.visitor, "mow_guess")
    for _ in range(20):
        problem(guesser.ask("GET", "/lawns"), 401)
    late = guesser.ask("GET", "/lawns")
    problem(late, 429)
    assert late.headers["Retry-After"] == "3600"
    office.get("/lawns")
    office.visitor.now += timedelta(hours=1, seconds=1)
    problem(guesser.ask("GET", "/lawns"), 401)


BAD_BODIES = (
    b"",
    b"{",
    b"[]",
    b"null",
    b'"' + b"x" * 60_000 + b'"',
    b"\xff\xfe{}",
    b"[" * 60_000,
    b'{"a":' * 10_000,
    b'{"height_mm": NaN}',
    b'{"height_mm": Infinity}',
    b'{"height_mm": 1e999}',
    b'{"height_mm": ' + b"9" * 5000 + b"}",
    b'{"height_mm": "65"}',
    b'{"height_mm": true}',
    b'{"height_mm": 65, "color": "green"}',
    b'{"height_mm": 65, "\\ud800": 1}',
    b'{"height_mm": 65, "on": 20260507}',
    b'{"height_mm": 65, "on": "2026-02-30"}',
    b'{"height_mm": 65, "on": "9999-12-31"}',
    b'{"height_mm": 65, "on": "0001-01-01"}',
    b'{"height_mm": 65, "on": "10000-01-01"}',
    b'{"height_mm": 5000}',
    b'{"height_mm": 1e-300}',
)


def test_a_body_that_cannot_be_is_explained(office: Program) -> None:
    for body in BAD_BODIES:
        for kind in ("mowings", "heights"):
            sent = {"data": body, "headers": {"Content-Type": "application/json"}}
            answer = office.ask("POST", f"/lawns/1/{kind}", **sent)
            told = problem(answer, 422)
            assert len(answer.content) < 2000
            assert told["errors"] or told["detail"] != WORDS[422]


def test_days_that_cannot_be_are_refused(office: Program) -> None:
    days = {"reason": "event", "first_on": "2026-05-09", "last_on": "2026-05-10", "note": ""}
    for changes, field in (
        ({"reason": "heat"}, "reason"),
        ({"note": "a\x00b"}, "note"),
        ({"note": "x" * 201}, "note"),
        ({"first_on": "9999-12-31", "last_on": "9999-12-31"}, ""),
        ({"last_on": "2026-05-08"}, ""),
        ({"last_on": "2027-12-31"}, ""),
    ):
        told = problem(office.ask("POST", "/lawns/1/kept-off", json=days | changes), 422)
        assert [one["field"] for one in told["errors"]] == ([field] if field else [])
    problem(office.ask("PUT", "/keeper/pause", json={"until": "9999-12-31"}), 422)
    problem(office.ask("PUT", "/keeper/pause", json={}), 422)


def test_a_body_of_another_type_is_not_read(office: Program) -> None:
    for type_ in ("", "text/plain", "application/json; charset=latin-1", "multipart/form-data"):
        answer = office.ask("POST", "/lawns/1/mowings", data=b"{}", headers={"Content-Type": type_})
        problem(answer, 415)
    problem(office.ask("POST", "/lawns", data=b"{}", headers={"Content-Type": "application/json"}), 415)
    packed = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    problem(office.ask("POST", "/lawns/1/mowings", data=b"{}", headers=packed), 415)


def test_a_question_that_cannot_be_names_what_is_wrong(office: Program) -> None:
    for path, field in (
        ("/lawns/abc", "lawn_id"),
        ("/lawns/0", "lawn_id"),
        (f"/lawns/{2**63}", "lawn_id"),
        (f"/lawns/{'9' * 5000}", "lawn_id"),
        ("/lawns/1%00", "lawn_id"),
        ("/lawns?limit=201", "limit"),
        ("/lawns?limit=NaN", "limit"),
        (f"/lawns?after={2**64}", "after"),
        ("/lawns?afer=3", "afer"),
        ("/lawns/1/notices?limit=%FF", "limit"),
    ):
        told = problem(office.ask("GET", path), 422)
        assert [one["field"] for one in told["errors"]] == [field]


def test_what_is_not_there_is_a_problem_too(office: Program) -> None:
    for method, path, status in (
        ("GET", "/", 404),
        ("GET", "/lawns/", 404),
        ("GET", "/nowhere", 404),
        ("PATCH", "/lawns/1", 405),
        ("OPTIONS", "/lawns", 405),
    ):
        problem(office.ask(method, path, allow_redirects=False), status)


def test_octets_that_are_no_request_do_no_harm(office: Program) -> None:
    host, port = office.visitor.url.removeprefix("http://").split(":")
    key = office.key.encode()
    for line in (b"GET /api/v1/lawns?limit=\xff HTTP/1.1", b"GET /api/v1/lawns/\xff HTTP/1.1"):
        with socket.create_connection((host, int(port)), timeout=10) as talk:
            talk.sendall(
                line + b"\r\nHost: x\r\nConnection: close\r\nAuthorization: Bearer " + key + b"\r\n\r\n"
            )
            answer = b"".join(iter(lambda: talk.recv(4096), b""))
        assert answer.split()[1] in (b"400", b"422")


@pytest.mark.parametrize("path", ["/api/v1/lawns", "/api/v1/openapi.json", "/api/v1/nowhere"])
def test_every_answer_keeps_to_itself(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path)
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Strict-Transport-Security"]


def test_the_description_is_of_these_routes_only_and_asks_for_a_key(visitor: Visitor) -> None:
    told = visitor.get("/api/v1/openapi.json").json()
    assert told["servers"] == [{"url": "/api/v1"}]
    assert sorted(told["paths"])[0] == "/due"
    assert not any("join" in path for path in told["paths"])
    for path in told["paths"].values():
        for operation in path.values():
            assert operation["security"] == [{"key": []}]
            assert {"401", "403", "413", "429", "503"} <= operation["responses"].keys()
            assert "Scope: " in operation["description"]
