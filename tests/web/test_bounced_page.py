"""Somebody whose mails came back reads why on their page, and can say that they want them again."""

import pytest
from web_people import Visitor

from mowalert.channels.bounces import Bounce, Complaint
from mowalert.service.sending.bounced import take_bounce


def comes_back(visitor: Visitor, report: type[Bounce], code: str) -> None:
    made = visitor.services
    named = str(visitor.mail(1)["Message-ID"])
    bounce = report("ann@example.org", True, code, "as a mail server says it", named)
    take_bounce(made.store, made.links, bounce, now=visitor.now)


@pytest.mark.parametrize(
    ("report", "code", "reason"),
    [
        (Bounce, "5.1.1", "the mailbox does not exist"),
        (Complaint, "complaint", "our mail was called unwanted there"),
    ],
)
def test_the_page_says_why_no_mail_comes(
    visitor: Visitor, report: type[Bounce], code: str, reason: str
) -> None:
    page = visitor.join()
    assert "No mail goes to" not in visitor.get(page).text
    comes_back(visitor, report, code)
    assert f"No mail goes to ann@example.org: {reason}." in visitor.get(page).text


def test_a_start_on_the_page_lets_mails_through_again(visitor: Visitor) -> None:
    page = visitor.join()
    comes_back(visitor, Bounce, "5.1.1")
    visitor.send(f"{page}/keeper", {"do": "start"}, on=page)
    assert "No mail goes to" not in visitor.get(page).text
    comes_back(visitor, Bounce, "5.1.1")
    assert "No mail goes to" not in visitor.get(page).text


def test_nobody_hears_how_a_mail_server_put_it(visitor: Visitor) -> None:
    page = visitor.join()
    comes_back(visitor, Bounce, "5.1.1")
    assert "as a mail server says it" not in visitor.get(page).text
