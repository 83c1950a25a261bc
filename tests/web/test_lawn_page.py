"""A lawn's own page: today's answer, reports and undoing them, pauses, stops, heights and languages."""

import re
from datetime import date, timedelta

import pytest
from web_people import BASE, Visitor, form_in, text_of

from mowalert.service.lawns.look import outlook_of
from mowalert.service.records import LawnRecord
from mowalert.service.sending.deliver import deliver


def lawn(visitor: Visitor) -> LawnRecord:
    with visitor.services.store.begin() as work:
        (only,) = work.lawns.get(work.lawns.all_ids())
    return only


def tell(visitor: Visitor, page: str, **form: str) -> str:
    answer = visitor.send(f"{page}/lawn/1", form, on=page)
    assert answer.status_code == 200, answer.text
    return answer.text


@pytest.fixture
def page(visitor: Visitor) -> str:
    """The page of a lawn that has had a week to grow."""
    way = visitor.join()
    visitor.wait(days=7)
    return way


def height_now(visitor: Visitor) -> float:
    made = visitor.services
    seen = outlook_of(made.store, made.turf, made.policy, 1, now=visitor.now)
    return seen.days[0].height_mm


def answer_on(text: str) -> str:
    found = re.search(r'class="answer">([^<]+)<', text)
    assert found
    return found[1]


def test_a_reported_cut_starts_the_grass_again_and_undo_takes_it_back(visitor: Visitor, page: str) -> None:
    before = visitor.get(page).text
    stood_mm = height_now(visitor)
    said = tell(visitor, page, do="mowed", day="today", height="2.5")
    assert "the grass starts again from your cut" in said
    assert lawn(visitor).anchored_on == date(2026, 5, 14)
    assert "cut to 2½ in" in said
    undone = tell(visitor, page, do="undo")
    assert "newest report is taken back" in undone
    assert lawn(visitor).anchor_height_mm == pytest.approx(stood_mm)
    assert lawn(visitor).anchor_assumed
    assert answer_on(undone) == answer_on(before)


def test_a_cut_of_another_day_counts_from_there(visitor: Visitor, page: str) -> None:
    tell(visitor, page, do="mowed", day="yesterday")
    assert lawn(visitor).anchored_on == date(2026, 5, 13)
    tell(visitor, page, do="undo")
    tell(visitor, page, do="mowed", day="other", on="2026-05-10")
    assert lawn(visitor).anchored_on == date(2026, 5, 10)


def test_a_measured_height_is_taken_in_the_keepers_units(visitor: Visitor, page: str) -> None:
    tell(visitor, page, do="measured", day="today", height="3,5")
    assert lawn(visitor).anchor_height_mm == pytest.approx(88.9)


WRONG = (
    ({"do": "mowed", "day": "other", "on": "2027-01-01"}, "is still to come"),
    ({"do": "mowed", "day": "other", "on": "soon"}, "is no date"),
    ({"do": "mowed", "day": "today", "height": "tall"}, "is no number"),
    ({"do": "mowed", "day": "today", "height": "90"}, "cannot be the height"),
    ({"do": "measured", "day": "today"}, "say the height you measured"),
    ({"do": "dance"}, "say what is to be done"),
    ({"do": "keep"}, "choose at least one mowing day"),
)


@pytest.mark.parametrize(("form", "said"), WRONG)
def test_what_cannot_be_is_said_and_changes_nothing(
    visitor: Visitor, page: str, form: dict[str, str], said: str
) -> None:
    before = lawn(visitor)
    answer = visitor.send(f"{page}/lawn/1", form, on=page)
    assert answer.status_code == 422
    assert said.casefold() in answer.text.casefold()
    assert lawn(visitor) == before
    for name in ("on", "height"):
        if form.get(name):
            assert f'value="{form[name]}"' in answer.text, "what was typed is kept"


SPANISH = (
    ({"do": "mowed", "day": "other", "on": "2027-01-01"}, "2027-01-01 todavía no ha llegado"),
    ({"do": "mowed", "day": "other", "on": ""}, "diga el día"),
    ({"do": "mowed", "day": "today", "height": "tall"}, "no es un número"),
    (
        {"do": "mowed", "day": "today", "height": "90"},
        "pulgadas no puede medir 90 pulgadas: diga de",
    ),
    ({"do": "measured", "day": "today"}, "diga la altura que ha medido"),
    ({"do": "undo"}, "no se ha informado de nada que se pueda deshacer"),
    ({"do": "forget"}, "no se ha aprendido nada que se pueda olvidar"),
    ({"do": "keep"}, "elija al menos un día de corte"),
    ({"do": "keep", "day_sat": "1", "height_mm": "900"}, "esta hierba se mantiene a una altura de"),
    ({"do": "keep", "day_sat": "1", "height_mm": "nan"}, "nan no puede ser"),
    ({"do": "keep", "day_sat": "1", "sun": "moon"}, "diga qué hay que hacer"),
)


@pytest.mark.parametrize(("form", "said"), SPANISH)
def test_what_cannot_be_is_said_in_the_keepers_language_and_units(
    visitor: Visitor, page: str, form: dict[str, str], said: str
) -> None:
    visitor.send(f"{page}/keeper", {"do": "speak", "language": "es", "units": "us"}, on=page)
    answer = visitor.send(f"{page}/lawn/1", form, on=page)
    assert answer.status_code == 422
    assert said.casefold() in answer.text.casefold()
    assert " mm" not in answer.text


@pytest.mark.parametrize(
    ("until", "said"),
    [
        ("2020-01-01", "2020-01-01 ya ha pasado"),
        ("2040-01-01", "faltan más de 400 días"),
        ("", "diga el día"),
    ],
)
def test_a_pause_that_cannot_be_is_said_in_the_keepers_language(
    visitor: Visitor, page: str, until: str, said: str
) -> None:
    visitor.send(f"{page}/keeper", {"do": "speak", "language": "es", "units": "us"}, on=page)
    answer = visitor.send(f"{page}/keeper", {"do": "pause", "until": until}, on=page)
    assert answer.status_code == 422
    assert said.casefold() in answer.text.casefold()


def test_a_form_of_another_page_or_of_yesterday_is_refused(visitor: Visitor, page: str) -> None:
    before = lawn(visitor)
    other = form_in(visitor.get("/join").text)
    own = form_in(visitor.get(page).text)
    assert visitor.post(f"{page}/lawn/1", {"form": other, "do": "mowed"}).status_code == 404
    assert visitor.post(f"{page}/lawn/1", {"do": "mowed"}).status_code == 404
    visitor.now += timedelta(hours=13)
    assert visitor.post(f"{page}/lawn/1", {"form": own, "do": "mowed"}).status_code == 404
    assert lawn(visitor) == before


def test_a_pause_keeps_silent_until_its_day_and_can_be_ended(visitor: Visitor, page: str) -> None:
    paused = visitor.send(f"{page}/keeper", {"do": "pause", "until": "2026-06-20"}, on=page).text
    assert "Paused: nothing is sent until Saturday, June 20" in paused
    for _ in range(30):
        visitor.wait(days=1)
    assert len(visitor.mails()) == 1
    resumed = visitor.send(f"{page}/keeper", {"do": "resume"}, on=page).text
    assert "Paused" not in resumed


def test_stop_on_the_page_stops_all_and_start_starts_again(visitor: Visitor, page: str) -> None:
    stopped = visitor.send(f"{page}/keeper", {"do": "stop"}, on=page).text
    assert "Start messages again" in stopped
    reports = [visitor.wait(days=1) for _ in range(14)]
    assert sum(report.tell.messages for report in reports) == 0
    started = visitor.send(f"{page}/keeper", {"do": "start"}, on=page).text
    assert "Stop all messages" in started
    reports = [visitor.wait(days=1) for _ in range(14)]
    assert sum(report.tell.messages for report in reports) > 0


def test_another_height_moves_the_limit_and_another_language_every_word(visitor: Visitor, page: str) -> None:
    before = lawn(visitor)
    tell(visitor, page, do="keep", height_mm="90", day_sat="1")
    after = lawn(visitor)
    assert after.chosen_mm == 90
    assert after.mowing_days == 1 << 5
    assert (after.limit_g_mm or 0) > (before.limit_g_mm or 0)
    spanish = visitor.send(
        f"{page}/keeper", {"do": "speak", "language": "es", "units": "metric"}, on=page
    ).text
    assert '<html lang="es">' in spanish
    assert "90 mm" in spanish
    assert "I mowed" not in spanish


def test_new_links_make_the_old_ones_void(visitor: Visitor, page: str) -> None:
    answer = visitor.send(f"{page}/keeper", {"do": "renew"}, on=page)
    assert answer.status_code == 200
    new = answer.url.removeprefix(visitor.url).partition("?")[0]
    assert new != page
    assert visitor.get(page).status_code == 404
    assert visitor.get(new).status_code == 200


def weekend_notice(visitor: Visitor) -> str:
    """Let weeks pass until a weekend notice has come; its text."""
    made = visitor.services
    for _ in range(40):
        report = visitor.wait(days=1)
        if report.tell.messages:
            transports = made.transports()
            deliver(made.store, transports, made.turf, made.policy, made.sms, now=visitor.now)
            return text_of(visitor.mails()[-1])
    raise AssertionError("no notice came")


def test_the_tap_in_a_mail_opens_a_page_and_its_button_records_the_cut_once(visitor: Visitor) -> None:
    visitor.join()
    visitor.now += timedelta(hours=8)
    text = weekend_notice(visitor)
    tap = re.search(rf"{BASE}(/did/\S+)", text)
    assert tap
    before = lawn(visitor)
    opened = visitor.get(tap[1])
    assert opened.status_code == 200
    assert lawn(visitor) == before, "opening a link changes nothing"
    visitor.now += timedelta(days=2)
    done = visitor.send(tap[1], {})
    assert "Thank you." in done.text
    assert lawn(visitor).anchored_on > before.anchored_on
    assert not lawn(visitor).anchor_assumed


def test_one_click_in_the_mail_header_stops_mail(visitor: Visitor) -> None:
    visitor.join()
    visitor.now += timedelta(hours=8)
    weekend_notice(visitor)
    header = visitor.mails()[-1]["List-Unsubscribe"].strip("<>").removeprefix(BASE)
    assert visitor.mails()[-1]["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert visitor.get(header).status_code == 200
    with visitor.services.store.begin() as work:
        assert work.keepers.all()[0].email_suspended is None
    assert visitor.post(header, "List-Unsubscribe=One-Click").status_code == 200
    reports = [visitor.wait(days=1) for _ in range(21)]
    assert sum(report.tell.messages for report in reports) == 0


def test_the_answer_page_of_a_notice_shows_the_chain_to_its_keeper_alone(visitor: Visitor) -> None:
    page = visitor.join()
    visitor.now += timedelta(hours=8)
    weekend_notice(visitor)
    listed = visitor.get(page).text
    link = re.search(rf'href="({page}/why/\d+)"', listed)
    assert link
    shown = visitor.get(link[1]).text
    assert "Growth since the last cut" in shown
    assert "it is what was said" in shown
    stranger = visitor.join(email="bob@example.org", latitude="42.3")
    assert visitor.get(link[1].replace(page, stranger)).status_code == 404
    assert visitor.get(f"{stranger}/lawn/1").status_code == 404
