"""Those who watch the service learn whether it lives and works, and never whose links were opened."""

import re
import time
from datetime import timedelta

import pytest
import sqlalchemy as sa
from builders import a_message
from fastapi import FastAPI
from web_people import Visitor, served

from mowalert.domain.words import Channel
from mowalert.service.upkeep.status import note_scheduler
from mowalert.store.upgrade import head
from mowalert.web.app import create_app


def change(visitor: Visitor, statement: str) -> None:
    """Change the store behind the program's back."""
    engine = sa.create_engine(visitor.services.store.url)
    with engine.begin() as connection:
        connection.exec_driver_sql(statement)
    engine.dispose()


def figures(visitor: Visitor) -> dict[str, float]:
    answer = visitor.get("/metrics")
    assert answer.status_code == 200, answer.text
    lines = [line.rpartition(" ") for line in answer.text.splitlines() if not line.startswith("#")]
    return {name: float(value) for name, _, value in lines}


def test_a_living_process_says_so_even_without_a_store(visitor: Visitor) -> None:
    change(visitor, "DROP TABLE meta")
    answer = visitor.get("/healthz")
    assert (answer.status_code, answer.text) == (200, "ok\n")


def test_it_is_ready_once_a_night_has_run(visitor: Visitor) -> None:
    before = visitor.get("/readyz")
    assert (before.status_code, "nights: failed, none has run yet" in before.text) == (503, True)
    visitor.night()
    visitor.now += timedelta(hours=2)
    after = visitor.get("/readyz")
    assert after.status_code == 200
    assert after.text.splitlines() == [
        "store: ok, can be read",
        f"schema: ok, version {head()}",
        "nights: ok, the newest was 2.0 h ago",
    ]


def test_it_is_not_ready_once_the_scheduler_is_three_spans_late(visitor: Visitor) -> None:
    note_scheduler(visitor.services.store, 10)
    visitor.night()
    visitor.now += timedelta(minutes=29)
    assert visitor.get("/readyz").status_code == 200
    visitor.now += timedelta(minutes=2)
    answer = visitor.get("/readyz")
    assert (answer.status_code, answer.text.splitlines()[2]) == (
        503,
        "nights: failed, the newest was 0.5 h ago",
    )


def test_it_is_not_ready_on_a_store_of_another_version(visitor: Visitor) -> None:
    visitor.night()
    change(visitor, "UPDATE alembic_version SET version_num = '0001'")
    answer = visitor.get("/readyz")
    assert answer.status_code == 503
    assert f"schema: failed, version 0001, wanted is {head()}" in answer.text


def test_a_store_that_cannot_be_read_is_said_without_its_place(visitor: Visitor) -> None:
    change(visitor, "DROP TABLE alembic_version")
    answer = visitor.get("/readyz")
    assert (answer.status_code, answer.text) == (503, "store: failed, cannot be read\n")
    visitor.now += timedelta(minutes=1)
    change(visitor, "DROP TABLE round_log")
    assert figures(visitor)["mowalert_store_readable"] == 0


def sent(visitor: Visitor) -> bool:
    """Wait until no message is on its way: a mail can be read a moment before it counts as sent."""
    for _ in range(500):
        with visitor.services.store.begin() as work:
            if set(work.outbox.states()) == {"sent"}:
                return True
        time.sleep(0.02)
    return False


def test_figures_tell_how_much_there_is_and_how_old(visitor: Visitor) -> None:
    visitor.join()
    assert sent(visitor)
    visitor.night()
    visitor.now += timedelta(hours=1)
    told = figures(visitor)
    for name, count in {"keepers": 1, "sites": 1, "lawns": 1, "stands": 1, "cells": 1}.items():
        assert told[f"mowalert_{name}"] == count
    assert told["mowalert_store_readable"] == 1
    assert told["mowalert_newest_night_age_seconds"] == 3600
    assert told["mowalert_nights_overdue"] == 0
    assert told['mowalert_weather_age_seconds{source="nws"}'] == 3600
    assert told["mowalert_cells_without_weather"] == 0
    assert told['mowalert_messages{state="sent"}'] == 1


def test_figures_count_the_newest_rounds_by_outcome(visitor: Visitor) -> None:
    visitor.join()
    for _ in range(8):
        visitor.wait(days=1)
    outcomes = {name: count for name, count in figures(visitor).items() if "newest_rounds" in name}
    assert sum(outcomes.values()) >= 1
    assert set(outcomes) <= {
        f'mowalert_newest_rounds{{outcome="{outcome}"}}' for outcome in ("done", "skipped")
    }


def test_figures_of_the_store_are_read_again_after_a_while(visitor: Visitor) -> None:
    assert figures(visitor)["mowalert_lawns"] == 0
    visitor.join()
    assert figures(visitor)["mowalert_lawns"] == 0
    visitor.now += timedelta(seconds=11)
    assert figures(visitor)["mowalert_lawns"] == 1


def test_requests_are_counted_by_template_and_no_secret_is_kept(visitor: Visitor) -> None:
    page = visitor.join()
    visitor.get(page)
    visitor.get("/my/forged-secret")
    visitor.get("/nowhere/forged-secret")
    visitor.get("/static/site.css")
    visitor.session.request("FORGE", visitor.url + "/join")
    text = visitor.get("/metrics").text
    told = figures(visitor)
    route = 'mowalert_requests_total{{method="{}",route="{}",status="{}"}}'
    assert told[route.format("GET", "/my/{token}", 200)] >= 1
    assert told[route.format("GET", "/my/{token}", 404)] == 1
    assert told[route.format("GET", "none", 404)] == 1
    assert told[route.format("GET", "/static", 200)] == 1
    assert told[route.format("other", "/join", 405)] == 1
    assert told['mowalert_request_seconds_count{route="/join"}'] == 3
    token = page.removeprefix("/my/")
    assert token not in text
    assert "forged" not in text.casefold()
    assert not re.search(r"/(my|confirm)/[^{]", text)


def test_routes_of_a_mounted_application_are_counted_under_its_mount(visitor: Visitor) -> None:
    def greet(name: str) -> str:
        return f"good day, {name}"

    within, app = FastAPI(), create_app(visitor.services, clock=lambda: visitor.now)
    within.state.site = app.state.site
    within.get("/greet/{name}")(greet)
    app.mount("/within", within)
    with served(app) as url:
        for path in ("/within/greet/ann", "/within/nowhere/ann"):
            visitor.session.get(url + path, timeout=30)
        text = visitor.session.get(f"{url}/metrics", timeout=30).text
    assert 'route="/within/greet/{name}",status="200"' in text
    assert 'route="/within",status="404"' in text
    assert "ann" not in text


def test_a_failing_page_and_a_form_of_unknown_length_are_counted(visitor: Visitor) -> None:
    visitor.post("/join", iter([b"place=x"]))
    change(visitor, "DROP TABLE operator")
    change(visitor, "ALTER TABLE keeper RENAME TO gone")
    visitor.get(f"/my/{visitor.services.links.page_path(1, 0, now=visitor.now).rpartition('/')[2]}")
    visitor.session.close()  # the server hangs up after an answer that failed
    counted = {name for name in figures(visitor) if name.startswith("mowalert_requests_total")}
    assert any('status="413"' in name for name in counted)
    assert any('route="/my/{token}",status="500"' in name for name in counted)


@pytest.mark.parametrize(
    "header",
    [
        {"X-Forwarded-For": "203.0.113.9"},
        {"X-Forwarded-For": "127.0.0.1"},
        {"X-Real-IP": "127.0.0.1"},
        {"Forwarded": "for=127.0.0.1"},
    ],
)
def test_figures_are_not_there_for_whom_a_proxy_asks(visitor: Visitor, header: dict[str, str]) -> None:
    assert visitor.get("/metrics", headers=header).status_code == 404


def test_no_cookie_is_set(visitor: Visitor) -> None:
    for path in ("/healthz", "/readyz", "/metrics"):
        assert "set-cookie" not in visitor.get(path).headers


def test_two_applications_count_each_for_itself(visitor: Visitor) -> None:
    for _ in range(3):
        visitor.get("/healthz")
    with served(create_app(visitor.services, clock=lambda: visitor.now)) as url:
        text = visitor.session.get(f"{url}/metrics", timeout=30).text
    assert "/healthz" not in text


def test_messages_that_failed_are_counted_by_state(visitor: Visitor) -> None:
    visitor.join()
    with visitor.services.store.begin() as work:
        assert work.outbox.add(a_message(keeper_id=1, channel=Channel.SMS))
        work.commit()
    change(visitor, "UPDATE outbox SET state = 'failed' WHERE channel = 'sms'")
    assert figures(visitor)['mowalert_messages{state="failed"}'] == 1
