"""A person joins: nothing but one confirmation before they confirm, and the outlook at once after it."""

import re
from datetime import timedelta

import pytest
import sqlalchemy as sa
from web_people import ANN, Visitor, form_in, text_of

from mowalert.service.keepers.privacy import forget_unconfirmed
from mowalert.service.nights.totals import DELIVERIES
from mowalert.store.tables import keeper, lawn


def rows(visitor: Visitor, query: sa.Select[tuple[int]]) -> int:
    engine = sa.create_engine(visitor.services.store.url)
    with engine.connect() as connection:
        count = connection.scalar(query)
    engine.dispose()
    return int(count or 0)


def lawns(visitor: Visitor) -> int:
    return rows(visitor, sa.select(sa.func.count()).select_from(lawn))


def test_a_person_joins_confirms_and_sees_their_lawn(visitor: Visitor) -> None:
    page = visitor.get(visitor.join()).text
    assert "Nothing to do" in page
    assert "Kentucky bluegrass, cut to 2½ in" in page
    assert "<svg" in page
    assert "ann@example.org" not in page


def test_nothing_but_one_confirmation_goes_out_before_it_is_confirmed(visitor: Visitor) -> None:
    visitor.send("/join", ANN)
    assert visitor.mail(1)["Subject"] == "Do you want notices from Turf Line?"
    for _ in range(20):
        visitor.wait(days=1)
    assert lawns(visitor) == 0
    assert len(visitor.mails()) == 1


def test_a_letter_that_leaves_at_once_is_counted(visitor: Visitor) -> None:
    visitor.send("/join", ANN)
    visitor.soon(lambda: sent(visitor) == 1, "no letter was counted")
    assert len(visitor.mails()) == 1


def sent(visitor: Visitor) -> float:
    with visitor.services.store.begin() as work:
        return work.tallies.all().get(DELIVERIES, {}).get("sent", 0)


def test_opening_the_link_changes_nothing_and_confirming_twice_enrols_once(visitor: Visitor) -> None:
    visitor.send("/join", ANN)
    link = next(word for word in text_of(visitor.mail(1)).split() if "/confirm/" in word)
    path = link.removeprefix("https://lawns.example.org")
    first = visitor.get(path)
    assert (first.status_code, lawns(visitor)) == (200, 0)
    token = form_in(first.text)
    for _ in range(2):
        assert visitor.post(path, {"form": token}).status_code == 200
    assert lawns(visitor) == 1


def test_the_form_says_what_is_wrong_beside_the_field_and_keeps_what_was_typed(visitor: Visitor) -> None:
    answer = visitor.send("/join", ANN | {"email": "ann at home", "latitude": "north", "agree": ""})
    assert answer.status_code == 422
    for said in (
        "Give an e-mail address we can write to.",
        "Say where your lawn is.",
        "Please say that you want",
    ):
        assert said in answer.text
    assert 'value="ann at home"' in answer.text
    assert 'value="north"' in answer.text
    assert '<option value="kentucky_bluegrass" selected>' in answer.text
    assert visitor.mails() == []


def test_an_address_is_asked_a_few_times_a_day_at_most_and_the_page_says_the_same(visitor: Visitor) -> None:
    answers = []
    for _ in range(6):
        visitor.now += timedelta(minutes=2)
        answers.append(visitor.send("/join", ANN).text)
    said = {answer.split("told")[1].split("<")[0] for answer in answers}
    assert len(said) == 1
    visitor.mail(3)
    assert len(visitor.mails()) == 3


def test_one_sender_cannot_flood_many_addresses(visitor: Visitor) -> None:
    for number in range(15):
        visitor.now += timedelta(seconds=70)
        visitor.send("/join", ANN | {"email": f"ann{number}@example.org"})
    assert len(visitor.mails()) <= 10


def test_sign_ups_nobody_confirms_are_forgotten_after_a_week(visitor: Visitor) -> None:
    visitor.send("/join", ANN)
    visitor.mail(1)
    keepers = sa.select(sa.func.count()).select_from(keeper)
    assert forget_unconfirmed(visitor.services.store, now=visitor.now + timedelta(days=6)) == 0
    assert rows(visitor, keepers) == 1
    assert forget_unconfirmed(visitor.services.store, now=visitor.now + timedelta(days=8)) == 1
    assert rows(visitor, keepers) == 0


def test_a_second_lawn_of_the_same_person_joins_the_first(visitor: Visitor) -> None:
    visitor.join()
    visitor.now += timedelta(hours=1)
    page = visitor.get(visitor.join(latitude="41.95", grass="tall_fescue", height_mm="90")).text
    assert lawns(visitor) == 2
    assert "Your lawns" in page
    assert "Home 2" in page
    visitor.now += timedelta(hours=1)
    page = visitor.get(visitor.join(latitude="41.95", grass="fine_fescue", height_mm="75")).text
    assert lawns(visitor) == 3
    assert "Home 2, lawn 2" in page


def test_the_link_is_sent_again_and_no_hint_is_given_whether_anyone_is_enrolled(visitor: Visitor) -> None:
    visitor.join()
    known = visitor.send("/link", {"email": "ann@example.org"}).text
    unknown = visitor.send("/link", {"email": "bob@example.org"}).text
    assert known == unknown
    mail = visitor.mail(2)
    assert mail["To"] == "ann@example.org"
    link = next(word for word in text_of(mail).split() if "/my/" in word)
    assert visitor.get(link.removeprefix("https://lawns.example.org")).status_code == 200
    assert len(visitor.mails()) == 2


@pytest.mark.parametrize(
    "path", ["/confirm/x", "/my/x", "/did/x", "/stop/x", "/my/x/leave", "/my/x/data", "/nowhere"]
)
def test_an_altered_link_is_a_plain_page_with_a_way_to_a_new_one(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path)
    assert answer.status_code == 404
    assert "Send me a new link" in answer.text


def test_links_expire(visitor: Visitor) -> None:
    visitor.send("/join", ANN)
    link = next(word for word in text_of(visitor.mail(1)).split() if "/confirm/" in word)
    visitor.now += timedelta(days=4)
    assert visitor.get(link.removeprefix("https://lawns.example.org")).status_code == 404


def test_scripted_text_is_shown_as_text(visitor: Visitor) -> None:
    evil = '"><script>alert(1)</script>'
    answer = visitor.send("/join", ANN | {"email": evil, "place": evil, "latitude": evil})
    assert "<script>" not in answer.text
    assert "&lt;script&gt;" in answer.text


def test_no_link_of_a_page_leads_to_another_host(visitor: Visitor) -> None:
    page = visitor.get("//evil.example/%22%3E").text
    links = re.findall(r'(?:href|src|action)="([^"]*)"', page)
    assert links
    assert all(link.startswith(("/", "?", "#")) and not link.startswith("//") for link in links)


def test_what_is_too_large_is_refused(visitor: Visitor) -> None:
    assert visitor.post("/join", {"place": "x" * 100_000}).status_code == 413
