"""Mails to one domain: as many as it takes, the rest in turn, and no domain waits for another."""

from datetime import timedelta

from builders import NOW

from mowalert.service.sending.mail_pace import BURST_MIN, SLOWED_AFTER, SLOWEST_PER_MIN, MailPace

ANN, BOB = "ann@one.example", "bob@two.example"
MINUTE = timedelta(minutes=1)


def slowed(pace: MailPace, times: int = SLOWED_AFTER) -> None:
    for _ in range(times):
        pace.refused(ANN, now=NOW)


def go_now(pace: MailPace, address: str, *, tries: int, minutes: float = 0.0) -> int:
    now = NOW + minutes * MINUTE
    return sum(pace.turn(address, now=now) == now for _ in range(tries))


def test_without_a_limit_all_go() -> None:
    assert go_now(MailPace(), ANN, tries=50_000) == 50_000


def test_what_is_too_many_gets_turns_one_behind_the_other() -> None:
    pace = MailPace(6.0)
    assert go_now(pace, ANN, tries=60) == 6 * BURST_MIN
    assert [pace.turn(ANN, now=NOW) - NOW for _ in range(3)] == [timedelta(seconds=10 * n) for n in (1, 2, 3)]
    assert go_now(pace, BOB, tries=1) == 1


def test_a_limit_is_an_average_of_ten_minutes() -> None:
    pace = MailPace(6.0)
    go_now(pace, ANN, tries=100)
    assert [go_now(pace, ANN, tries=100, minutes=minutes) for minutes in (1, 2, 5, 99)] == [6, 6, 18, 60]


def test_a_domain_is_one_however_it_is_written() -> None:
    pace = MailPace(1.0)
    go_now(pace, "Ann <ann@One.example>", tries=10)
    assert go_now(pace, ANN, tries=1) == 0


def test_a_domain_that_refuses_for_now_is_left_in_peace_and_no_other() -> None:
    pace = MailPace()
    slowed(pace, SLOWED_AFTER - 1)
    assert go_now(pace, ANN, tries=1) == 1
    slowed(pace, 1)
    assert go_now(pace, ANN, tries=9) == 0
    assert go_now(pace, BOB, tries=9) == 9


def test_a_domain_that_goes_on_refusing_is_asked_less_but_never_given_up() -> None:
    pace = MailPace(3000.0)
    found = []
    for times in (SLOWED_AFTER, 1, 1, 5):
        slowed(pace, times)
        found.append(pace.turn(ANN, now=NOW) - NOW)
    assert found == sorted(found)
    slowed(pace, 100)
    assert go_now(pace, ANN, tries=1000, minutes=1) == SLOWEST_PER_MIN


def test_a_domain_that_takes_mails_again_gets_as_many_as_before() -> None:
    pace = MailPace(3000.0)
    slowed(pace, 10)
    for _ in range(3):
        pace.taken(ANN, now=NOW + MINUTE)
    assert go_now(pace, ANN, tries=5000, minutes=2) > 3000
