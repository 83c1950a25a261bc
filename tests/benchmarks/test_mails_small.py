"""The benchmark of mails, a few at a time: both programs say the same, and nothing is lost on the way."""

from mails import render, send


def test_the_plain_program_says_the_same() -> None:
    assert render(24)["render_vs_naive"] > 0


def test_no_mail_is_lost_or_doubled() -> None:
    found = send(60)
    assert (found["mails"], found["lost"], found["doubled"]) == (60, 0, 0)
