"""What is logged, counted and shown of faults holds nobody's address, phone, place or link."""

import re
from datetime import timedelta

import pytest
import sqlalchemy as sa
from ledger import note
from web_people import ANN, Visitor

from mowalert.jobs.scheduler import _safely

PHONE = "+15155550111"
PERSONAL = (ANN["email"], "ann@", PHONE, PHONE[1:], ANN["latitude"], ANN["longitude"].lstrip("-"), "Ann Elm")


def found(text: str, *secrets: str) -> list[str]:
    """What of a person stands in a text."""
    return [one for one in (*PERSONAL, *secrets) if one in text]


def break_store(visitor: Visitor, statement: str) -> None:
    engine = sa.create_engine(visitor.services.store.url)
    with engine.begin() as connection:
        connection.exec_driver_sql(statement)
    engine.dispose()


def test_no_log_error_page_or_figure_leads_to_a_person(
    visitor: Visitor, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO")
    said: dict[str, str] = {}
    page = visitor.join(name="Ann Elm", phone=PHONE)
    token = page.rpartition("/")[2]
    visitor.wait(hours=8)
    visitor.deliver()
    visitor.sky.down = True
    visitor.wait(days=4)
    visitor.deliver()
    said["figures"] = visitor.get("/metrics").text
    said["a page that is gone"] = visitor.get(f"{page}x").text + visitor.get("/no/such/ann@example.org").text
    for table, path in (("signup", "/join"), ("keeper", page), ("attempt", "/link")):
        form = visitor.services.links.form_token(path.strip("/"), now=visitor.now)
        told = ANN | {"name": "Ann Elm", "phone": PHONE, "form": form}
        break_store(visitor, f"ALTER TABLE {table} RENAME TO gone")
        answer = visitor.get(path) if path == page else visitor.post(path, told)
        assert answer.status_code == 500, table
        said[f"a page without {table}"] = answer.text
        visitor.session.close()  # the server hangs up after an answer that failed
        break_store(visitor, f"ALTER TABLE gone RENAME TO {table}")
    kept: list[str] = []
    break_store(visitor, "ALTER TABLE told RENAME TO gone")
    visitor.sky.down = False
    visitor.now += timedelta(days=1)
    _safely(lambda now: [visitor.night(), None][1], lambda now, reason: kept.append(reason))
    said["why a tick failed"] = " ".join(kept)
    out, err = capfd.readouterr()
    said["logs"] = out + err + caplog.text
    assert "Traceback" in said["logs"], "there must be something to leak"
    leaks = {name: one for name, text in said.items() if (one := found(text, token))}
    note("personal data in logs, error pages and figures", len(said), len(said) - len(leaks), 0, 0)
    assert leaks == {}
    assert not re.search(r"\d\d\.\d{3,}, ?-?\d", said["logs"]), "an exact position"
