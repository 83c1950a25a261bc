"""Texts that come in: done once, answered once, and never by a phone whose owner has not agreed."""

import threading
from datetime import date, timedelta

import pytest
import sqlalchemy as sa
from phones import HEADER, LETTERS, LINKS, MORNING, ONE, OTHER, PHONE, Phone
from skies import a_day

from mowalert.domain.grasses import Turf
from mowalert.domain.replies import Problem
from mowalert.domain.words import Channel, KeeperKind, Units
from mowalert.links import PAGE
from mowalert.service.keepers.joining import ASKED, CONFIRMED, UNCONFIRMED, ask_to_join
from mowalert.service.lawns.report import report_mowing
from mowalert.service.lawns.wishes import STOPPED, pause
from mowalert.service.telling.answers import AnswerKind
from mowalert.store.engine import SqlStore
from mowalert.store.tables import inbound, metadata

TODAY, YESTERDAY = date(2026, 5, 7), date(2026, 5, 6)
THURSDAY_EVENING = {"hours": 10}


@pytest.fixture
def phone(store: SqlStore, turf: Turf) -> Phone:
    return Phone(store, turf)


@pytest.fixture
def ann(phone: Phone) -> Phone:
    """Somebody with one lawn, who gets texts and mails."""
    return phone.enrol(ONE)


def answers(phone: Phone, *texts: str) -> list[AnswerKind | None]:
    said = [phone.say(text).answer for text in texts]
    return [one and one.kind for one in said]


def rows(phone: Phone) -> list[tuple[str, int | None, str]]:
    engine = sa.create_engine(phone.store.url)
    with engine.connect() as connection:
        query = sa.select(inbound.c.gateway_id, inbound.c.keeper_id, inbound.c.kind)
        found = [tuple(row) for row in connection.execute(query.order_by(inbound.c.gateway_id))]
    engine.dispose()
    return found  # type: ignore[return-value]


def everything(phone: Phone) -> str:
    """Every value of every row there is."""
    engine = sa.create_engine(phone.store.url)
    with engine.connect() as connection:
        kept = [
            str(tuple(row))
            for table in metadata.sorted_tables
            for row in connection.execute(sa.select(table))
        ]
    engine.dispose()
    return "\n".join(kept)


def test_a_stop_stops_texts_at_once_cancels_what_waits_and_is_confirmed_once(ann: Phone) -> None:
    ann.wait(**THURSDAY_EVENING)
    assert any("mow Saturday" in text for text in ann.texts())
    assert answers(ann, "STOP") == [AnswerKind.STOPPED]
    assert (ann.keeper.phone_suspended, ann.keeper.email_suspended) == (STOPPED, None)
    (text,) = ann.texts()
    assert text.startswith("Turf Line: you get no more texts")
    assert len(ann.waiting(Channel.EMAIL)) == 1
    ann.now += timedelta(minutes=1)
    assert answers(ann, "stop", "STOP") == [None, None]
    assert ann.texts() == [text]


def test_a_stopped_phone_hears_nothing_but_help_and_a_new_start(ann: Phone) -> None:
    assert answers(ann, "STOP", "MOWED", "WHY", "hm?", "MOWED 3 feet", "YES", "PAUSE 2 WEEKS", "HELP") == [
        AnswerKind.STOPPED,
        *[None] * 6,
        AnswerKind.HELP,
    ]
    assert len(ann.reports()) == 1
    assert len(ann.texts()) == 2
    assert "/my/" not in ann.texts()[-1]
    for _ in range(3):
        ann.wait(days=1)
    assert len(ann.texts()) == 0
    assert answers(ann, "START", "STOP", "START") == [
        AnswerKind.STARTED,
        AnswerKind.STOPPED,
        AnswerKind.STARTED,
    ]
    assert ann.keeper.phone_suspended is None


def test_a_stop_that_overtakes_a_start_leaves_the_phone_silent(ann: Phone) -> None:
    assert answers(ann, "START", "STOP") == [AnswerKind.STARTED, AnswerKind.STOPPED]
    assert ann.keeper.phone_suspended == STOPPED


def test_one_text_is_taken_once_however_often_it_comes(ann: Phone) -> None:
    first = ann.say("MOWED 2.5", number="m1")
    for _ in range(3):
        ann.now += timedelta(hours=1)
        assert ann.say("MOWED 2.5", number="m1").kind == "repeated"
        assert ann.say("STOP", number="m1").kind == "repeated"
    assert first.answer is not None
    assert ann.keeper.phone_suspended is None
    assert len(ann.texts()) == len(ann.reports()) == 1


def test_two_stops_in_one_breath_are_confirmed_once(ann: Phone) -> None:
    told: list[AnswerKind | None] = []

    def stop(number: str) -> None:
        answer = ann.say("STOP", number=number).answer
        told.append(answer and answer.kind)

    threads = [threading.Thread(target=stop, args=(f"t{number}",)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(str, told)) == ["None"] * 5 + ["stopped"]
    assert len(ann.texts()) == 1


def test_the_text_itself_is_kept_nowhere(ann: Phone) -> None:
    ann.say("MOWED 3 in\n-- \nsent by a quokka")
    ann.say("a quokka asks what this is")
    assert "quokka" not in everything(ann)
    assert rows(ann) == [("m1", 1, "mowed"), ("m2", 1, "unknown")]


def test_of_an_unknown_number_only_the_gateways_number_is_kept(ann: Phone) -> None:
    for number, sender in (("s1", "+15155550199"), ("s2", "")):
        answered = ann.say("MOWED 3", number=number, sender=sender or "nobody")
        assert (answered.kind, answered.answer) == ("stranger", None)
    assert ann.say("MOWED", number="s1").kind == "repeated"
    assert rows(ann) == [("s1", None, "stranger"), ("s2", None, "stranger")]
    assert ann.reports() == []
    assert ann.texts() == []
    assert "5550199" not in everything(ann)


def test_mowed_restarts_the_lawn_from_its_height(ann: Phone) -> None:
    answer = ann.say("MOWED").answer
    assert answer is not None
    (report,) = ann.reports()
    assert (report.kind, report.on, report.height_mm, report.reported_by) == ("mowing", TODAY, 65.0, "sms")
    assert ann.texts() == ["Noted: Home, front was cut to 2 1/2 in on Thursday, May 7."]


def test_mowed_with_height_and_day_is_that_height_on_that_day(ann: Phone) -> None:
    ann.say("Mowed 3 in yesterday")
    (report,) = ann.reports()
    assert (report.on, report.height_mm) == (YESTERDAY, pytest.approx(76.2))


def test_a_cut_told_twice_is_one_report_and_answered_twice(ann: Phone) -> None:
    assert answers(ann, "MOWED", "Mowed!", "MOWED today") == [AnswerKind.MOWED] * 3
    assert len(ann.reports()) == 1
    assert answers(ann, "MOWED 3") == [AnswerKind.MOWED]
    assert len(ann.reports()) == 2


def test_a_cut_before_a_later_report_is_refused_in_words(ann: Phone) -> None:
    assert answers(ann, "MOWED", "MOWED yesterday") == [AnswerKind.MOWED, AnswerKind.REPORTED_SINCE]
    assert len(ann.reports()) == 1
    assert "of Thursday, May 7: take that one back" in ann.texts()[-1]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("MOWED 40 in", AnswerKind.NO_SUCH_HEIGHT),
        ("MEASURED 1000 mm", AnswerKind.NO_SUCH_HEIGHT),
        ("MOWED 3 mm 2026-05-06", AnswerKind.MOWED),
        ("MOWED 9 MAY 2025", AnswerKind.TOO_OLD),
        ("MOWED 3 in 9 MAY 2025", AnswerKind.TOO_OLD),
        ("PAUSE 2028-01-01", AnswerKind.TOO_LONG),
    ],
)
def test_what_cannot_be_is_answered_in_words(ann: Phone, text: str, kind: AnswerKind) -> None:
    assert answers(ann, text) == [kind]
    assert len(ann.texts()) == 1


def test_a_measured_height_is_taken_once(ann: Phone) -> None:
    assert answers(ann, "MEASURED 4 in", "height 4 in") == [AnswerKind.MEASURED] * 2
    (report,) = ann.reports()
    assert (report.kind, report.height_mm) == ("height", pytest.approx(101.6))


def test_mowed_means_every_lawn_that_was_last_advised(phone: Phone) -> None:
    phone.enrol(ONE, OTHER).wait(**THURSDAY_EVENING)
    phone.now += timedelta(days=2)
    answer = phone.say("MOWED").answer
    assert answer is not None
    assert (answer.kind, answer.lawns) == (AnswerKind.MOWED, 2)
    assert [phone.reports(lawn_id)[-1].on for lawn_id in (1, 2)] == [date(2026, 5, 9)] * 2


def test_mowed_leaves_out_a_lawn_that_was_reported_since(phone: Phone) -> None:
    phone.enrol(ONE, OTHER).wait(**THURSDAY_EVENING)
    phone.now += timedelta(days=1)
    day = date(2026, 5, 8)
    report_mowing(phone.store, phone.turf, 1, height_mm=None, on=day, today=day, now=phone.now, by="page")
    phone.now += timedelta(days=1)
    answer = phone.say("MOWED").answer
    assert answer is not None
    assert (answer.lawns, answer.place) == (1, "Home, back")
    assert [one.reported_by for one in phone.reports(1)] == ["page"]


def test_mowed_with_a_height_is_taken_for_the_one_lawn_advised_and_asked_about_for_two(phone: Phone) -> None:
    phone.enrol(ONE, OTHER).wait(**THURSDAY_EVENING)
    assert answers(phone, "MOWED 3") == [AnswerKind.WHICH_LAWN]
    assert phone.reports(1) == phone.reports(2) == []


def test_mowed_by_somebody_with_lawns_none_of_which_is_due_asks_for_the_page(phone: Phone) -> None:
    phone.enrol(ONE.replace("04-30", "05-06"), OTHER.replace("04-28", "05-06"))
    answer = phone.say("MOWED").answer
    assert answer is not None
    assert answer.kind is AnswerKind.WHICH_LAWN
    assert answer.page_url in phone.texts()[0]
    token = answer.page_url.rpartition("/")[2]
    assert LINKS.facts(PAGE, token, now=phone.now) == (1, 0)


def test_one_word_of_a_crew_does_not_clear_its_whole_list(phone: Phone) -> None:
    phone.enrol(ONE, OTHER, kind=KeeperKind.COMPANY).wait(days=3)
    assert answers(phone, "MOWED") == [AnswerKind.WHICH_LAWN]
    assert phone.reports(1) == phone.reports(2) == []


def test_of_several_lawns_all_are_reported_or_none(phone: Phone) -> None:
    phone.enrol(ONE, OTHER).wait(**THURSDAY_EVENING)
    phone.now += timedelta(days=3)
    for lawn_id, day in ((1, date(2026, 5, 8)), (2, date(2026, 5, 9))):
        report_mowing(
            phone.store, phone.turf, lawn_id, height_mm=80.0, on=day, today=day, now=phone.now, by="page"
        )
    assert answers(phone, "MOWED 8 MAY") == [AnswerKind.REPORTED_SINCE]
    assert [one.reported_by for one in phone.reports(1)] == ["page"]


def test_a_ruler_and_several_lawns_ask_for_the_page(phone: Phone) -> None:
    phone.enrol(ONE, OTHER)
    assert answers(phone, "MEASURED 4") == [AnswerKind.WHICH_LAWN]


def test_why_is_answered_with_the_reason_of_the_newest_notice(ann: Phone) -> None:
    assert answers(ann, "WHY") == [AnswerKind.NOTHING_TOLD]
    ann.wait(**THURSDAY_EVENING)
    assert answers(ann, "why?") == [AnswerKind.WHY]
    assert "a cut would take more than a third" in ann.texts()[-1]


def test_why_of_several_lawns_speaks_of_the_one_the_text_began_with(phone: Phone) -> None:
    phone.enrol(ONE, OTHER).wait(**THURSDAY_EVENING)
    answer = phone.say("WHY").answer
    assert answer is not None
    assert answer.notice is not None
    with phone.store.begin() as work:
        first = min(work.outbox.told(None, limit=9), key=lambda told: told.told_id)
    assert answer.notice.lawn_id == first.lawn_id


def test_a_pause_is_kept_and_a_start_ends_it(ann: Phone) -> None:
    assert answers(ann, "PAUSE until 20 MAY") == [AnswerKind.PAUSED]
    assert ann.keeper.paused_until == date(2026, 5, 20)
    assert answers(ann, "START") == [AnswerKind.STARTED]
    assert ann.keeper.paused_until is None


def test_what_nobody_understands_is_answered_once_a_day(ann: Phone) -> None:
    assert answers(ann, "hm?", "what", "???") == [AnswerKind.NOT_UNDERSTOOD, None, None]
    ann.now += timedelta(days=1)
    assert answers(ann, "hm?", "what") == [AnswerKind.NOT_UNDERSTOOD, None]


def test_a_day_begins_where_the_keeper_lives(ann: Phone) -> None:
    ann.now = MORNING.replace(hour=4)  # Wednesday, 23:00 there
    assert answers(ann, "hm?") == [AnswerKind.NOT_UNDERSTOOD]
    ann.now += timedelta(hours=2)
    assert answers(ann, "hm?") == [AnswerKind.NOT_UNDERSTOOD]


def test_a_slip_in_a_report_is_asked_about_each_time(ann: Phone) -> None:
    asked = [ann.say(text).answer for text in ("MOWED 3'", "PAUSE", "MOWED tomorrow")]
    assert [one and one.problem for one in asked] == [
        Problem.MISSING_HEIGHT,
        Problem.MISSING_DATE,
        Problem.DATE_TO_COME,
    ]


def test_yes_lets_texts_through_beside_mail_once_it_was_asked_for(ann: Phone) -> None:
    ann.change(phone_suspended=UNCONFIRMED, consent=CONFIRMED)
    assert answers(ann, "Yes please!", "YES", "YES") == [AnswerKind.WELCOME, None, None]
    assert ann.keeper.phone_suspended is None
    ann.now += timedelta(days=1)
    assert answers(ann, "YES") == [AnswerKind.ALREADY]


def test_a_phone_whose_owner_has_not_agreed_changes_nothing_and_is_told_nothing(ann: Phone) -> None:
    ann.change(phone_suspended=UNCONFIRMED)
    assert answers(ann, "MOWED", "MEASURED 4", "PAUSE 2 WEEKS", "WHY", "hm?") == [None] * 5
    assert (ann.reports(), ann.keeper.paused_until, ann.texts()) == ([], None, [])
    assert answers(ann, "HELP") == [AnswerKind.HELP]
    assert "/my/" not in ann.texts()[0]
    assert answers(ann, "STOP", "YES") == [AnswerKind.STOPPED, None]
    assert ann.keeper.phone_suspended == STOPPED


def asked_to_join(phone: Phone, **facts: str) -> None:
    told = {
        "phone": phone.number,
        "latitude": "41.85",
        "longitude": "-93.15",
        "site": "Home",
        "grass": "kentucky_bluegrass",
        "height_mm": "65",
    }
    ask_to_join(phone.store, phone.turf, LETTERS, LINKS, told | facts, sender="a test", now=phone.now)


def lawns(phone: Phone) -> int:
    with phone.store.begin() as work:
        return len(work.lawns.all_ids())


def test_yes_confirms_the_newest_sign_up_of_somebody_with_only_a_phone(phone: Phone) -> None:
    asked_to_join(phone)
    assert answers(phone, "MOWED", "hm?") == [None, None]
    assert answers(phone, "YES") == [AnswerKind.WELCOME]
    assert lawns(phone) == 1
    assert phone.keeper.consent == CONFIRMED
    phone.now += timedelta(hours=1)
    assert answers(phone, "YES") == [None]
    asked_to_join(phone, latitude="41.95")
    assert answers(phone, "SI") == [AnswerKind.WELCOME]
    assert lawns(phone) == 2


def test_a_stop_before_a_yes_is_a_no_until_a_start(phone: Phone) -> None:
    asked_to_join(phone)
    assert answers(phone, "STOP", "YES") == [AnswerKind.STOPPED, None]
    assert lawns(phone) == 0
    assert answers(phone, "START") == [AnswerKind.STARTED]
    assert lawns(phone) == 1


def test_a_phone_cannot_confirm_somebodys_mail(phone: Phone) -> None:
    asked_to_join(phone, email="ann@example.org")
    assert answers(phone, "YES", "START") == [None, None]
    assert (lawns(phone), phone.keeper.consent, phone.keeper.phone_suspended) == (0, ASKED, UNCONFIRMED)


def test_a_phone_of_two_keepers_speaks_for_both(phone: Phone) -> None:
    bob = ONE.replace("Ann,", "Bob,").replace("ann@", "bob@").replace("Home", "Shop")
    phone.enrol(ONE, bob)
    assert answers(phone, "STOP") == [AnswerKind.STOPPED]
    with phone.store.begin() as work:
        assert [one.phone_suspended for one in work.keepers.by_phone(PHONE)] == [STOPPED] * 2
    assert len(phone.texts()) == 1
    assert answers(phone, "START", "PAUSE 2 WEEKS") == [AnswerKind.STARTED, AnswerKind.PAUSED]
    with phone.store.begin() as work:
        assert [one.paused_until for one in work.keepers.by_phone(PHONE)] == [date(2026, 5, 21)] * 2


def test_answers_are_in_the_keepers_language_and_units(ann: Phone) -> None:
    ann.change(language="es", units=Units.METRIC)
    answer = ann.say("Corté 70").answer
    assert answer is not None
    assert (answer.kind, answer.height_mm) == (AnswerKind.MOWED, 70.0)
    (text,) = ann.texts()
    assert "70 mm" in text
    assert "jueves 7" in text


def test_several_answers_of_one_moment_all_go(ann: Phone) -> None:
    answers(ann, "HELP", "MOWED", "WHY", "PAUSE 2 WEEKS")
    assert len(ann.texts()) == 4
    assert ann.deliver() == 4


def test_a_hold_is_explained_by_its_own_reason(phone: Phone) -> None:
    phone.sky.day = lambda place, on: a_day(on, t_min_c=24.0, t_max_c=39.0)
    phone.enrol(ONE.replace("regular", "none"), tells_all_holds=True)
    phone.wait(**THURSDAY_EVENING)
    assert answers(phone, "WHY") == [AnswerKind.WHY]
    assert "hold: " in phone.texts()[-1]


def test_a_pause_set_on_the_page_does_not_keep_answers_back(ann: Phone) -> None:
    pause(ann.store, 1, until=date(2026, 5, 30), today=TODAY)
    assert answers(ann, "MOWED") == [AnswerKind.MOWED]


def test_the_table_of_this_test_is_one_the_import_reads() -> None:
    assert HEADER.count(",") == ONE.count(",") == OTHER.count(",")
