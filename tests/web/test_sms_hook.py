"""What a gateway posts: signed texts as people write them, and bytes nobody should send."""

import hmac
import json
import time
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlencode

import pytest
import requests
import sqlalchemy as sa
from builders import TURF
from hypothesis import given, settings
from hypothesis import strategies as st
from phones import ONE, PHONE, Phone
from pydantic import SecretStr
from stores import new_store
from web_people import Visitor, served

from mowalert.domain.words import Units
from mowalert.service.lawns.wishes import STOPPED
from mowalert.settings import SmsSettings, load_settings
from mowalert.store.tables import inbound, metadata
from mowalert.web.app import create_app
from mowalert.web.inbound import as_e164, read_inbound, storable
from mowalert.wiring import Services

SECRET = "what the gateway knows"  # noqa: S105 - of a service that lives for one test
TODAY, YESTERDAY = date(2026, 5, 7), date(2026, 5, 6)
FORM, JSON = "application/x-www-form-urlencoded", "application/json"


@cache
def store_of_ann() -> bytes:
    """A store with one keeper and her lawn; a test each would make it, it is made once."""
    with TemporaryDirectory() as folder:
        store = new_store(Path(folder) / "mowalert.db")
        Phone(store, TURF).enrol(ONE)
        store.close()
        return (Path(folder) / "mowalert.db").read_bytes()


@pytest.fixture
def services(services: Services, tmp_path: Path) -> Services:
    services.store.close()
    (tmp_path / "var" / "mowalert.db").write_bytes(store_of_ann())
    return with_sms(services, inbound_secret=SecretStr(SECRET))


def with_sms(services: Services, **changes: Any) -> Services:
    sms = services.settings.sms.model_copy(update=changes)
    return replace(services, settings=services.settings.model_copy(update={"sms": sms}))


@dataclass
class Gateway:
    """Somebody's phone, and the gateway that hands over what they text."""

    visitor: Visitor
    phone: Phone
    count: int = 0

    def post(
        self, body: bytes, *, kind: str = FORM, secret: str = SECRET, **headers: str
    ) -> requests.Response:
        signature = hmac.new(secret.encode(), body, sha256).hexdigest()
        told = {"Content-Type": kind, "X-Signature": signature} | headers
        return self.visitor.post("/hooks/sms", data=body, headers=told)

    def text(self, text: str, *, number: str = "", sender: str = PHONE, **more: Any) -> requests.Response:
        self.count += 1
        fields = {"from": sender, "text": text, "id": number or f"m{self.count}"}
        if more.get("kind", FORM).startswith(JSON):
            return self.post(json.dumps(fields).encode(), **more)
        return self.post(urlencode(fields).encode(), **more)

    def rows(self) -> dict[str, int]:
        """How many rows each table has."""
        engine = sa.create_engine(self.phone.store.url)
        with engine.connect() as connection:
            counts = {
                table.name: connection.scalar(sa.select(sa.func.count()).select_from(table)) or 0
                for table in metadata.sorted_tables
            }
        engine.dispose()
        return counts

    def kinds(self) -> list[str]:
        engine = sa.create_engine(self.phone.store.url)
        with engine.connect() as connection:
            found = list(connection.scalars(sa.select(inbound.c.kind).order_by(inbound.c.at)))
        engine.dispose()
        return found


@pytest.fixture
def gateway(visitor: Visitor) -> Gateway:
    made = visitor.services
    return Gateway(visitor, Phone(made.store, made.turf, now=visitor.now))


def texted(visitor: Visitor) -> list[str]:
    """Texts that left, without their numbers."""
    paths = sorted((visitor.folder / "var" / "sms").glob("*.txt"))
    return [path.read_text().partition("\n")[2].strip() for path in paths]


def until_texted(visitor: Visitor, count: int) -> list[str]:
    for _ in range(300):
        if len(texted(visitor)) >= count:
            break
        time.sleep(0.02)
    return texted(visitor)


@dataclass(frozen=True)
class Did:
    """What a text did: what it was taken for, what was reported, and how the phone stands after it."""

    kind: str
    height_mm: float | None = None
    on: date | None = None
    until: date | None = None
    stopped: bool = False


def mowed(height_mm: float = 65.0, on: date = TODAY) -> Did:
    return Did("mowed", height_mm, on)


def measured(height_mm: float) -> Did:
    return Did("measured", height_mm, TODAY)


def paused(until: date) -> Did:
    return Did("pause", until=until)


STOP, START, HELP, WHY = Did("stop", stopped=True), Did("start"), Did("help"), Did("why")
YES, UNKNOWN, PROBLEM = Did("confirm"), Did("unknown"), Did("problem")
ENGLISH = (
    *((text, STOP) for text in ("STOP", "Stop.", "please stop", "UNSUBSCRIBE", "cancel", "End", "QUIT")),
    *((text, STOP) for text in ("STOP\n-- \nAnn", "opt-out", "“STOP”", "🛑 STOP", "stop Sent from my phone")),
    *((text, START) for text in ("START", "unstop")),
    *((text, HELP) for text in ("HELP", "Info?")),
    *((text, WHY) for text in ("WHY", "why??")),
    *((text, YES) for text in ("YES", "yes please!")),
    *((text, mowed()) for text in ("MOWED", "I just mowed the lawn", "Done! ✅", "cut", "mowed today")),
    *((text, mowed(76.2)) for text in ("MOWED 3", 'mowed 3"', "MOWED 3 in thanks", "cut at 3 inches")),
    ("MOWED 80", mowed(80.0)),
    ("mowed 8 cm", mowed(80.0)),
    ("MOWED 2½", mowed(63.5)),
    ("mowed yesterday", mowed(on=YESTERDAY)),
    ("MOWED 3 in yesterday", mowed(76.2, YESTERDAY)),
    ("mowed on Tuesday", mowed(on=date(2026, 5, 5))),
    ("MOWED 6 MAY 80 mm", mowed(80.0, YESTERDAY)),
    ("MOWED 2026-05-06", mowed(on=YESTERDAY)),
    ("MEASURED 4", measured(101.6)),
    ("height is 110 mm", measured(110.0)),
    ("PAUSE 20 MAY", paused(date(2026, 5, 20))),
    ("pause until the 20th", paused(date(2026, 5, 20))),
    ("PAUSE 2 WEEKS", paused(date(2026, 5, 21))),
    *((text, UNKNOWN) for text in ("", "thanks", "Mow today?", "cut it out", "👍", "stop by on Friday")),
    *((text, PROBLEM) for text in ("MOWED 80 kg", "MOWED tomorrow", "MEASURED", "PAUSE", "MOWED 6/5")),
    ("MOWED 50 in", Did("mowed")),
    ("MOWED 20 APR", Did("mowed")),
    ("PAUSE 1 JAN 2030", Did("pause")),
)
SPANISH = (
    *((text, STOP) for text in ("ALTO", "¡Basta!", "baja por favor", "CANCELAR", "STOP", "parar")),
    *((text, START) for text in ("ALTA", "¡iniciar!")),
    *((text, HELP) for text in ("AYUDA", "¿Ayuda?")),
    *((text, WHY) for text in ("¿Por qué?", "POR QUE")),
    *((text, YES) for text in ("SÍ", "si, gracias")),
    *((text, mowed()) for text in ("CORTÉ", "Ya corté el césped, gracias", "¡Listo!", "corté hoy")),
    *((text, mowed(80.0)) for text in ("CORTÉ 80", "cortado a 8 cm", "MOWED 80", "corte 80 mm")),
    ("corté ayer", mowed(on=YESTERDAY)),
    ("corté 70 el miércoles", mowed(70.0, YESTERDAY)),
    ("Corté 3,5 pulgadas", mowed(88.9)),
    ("MEDIDO 110", measured(110.0)),
    ("altura: 11 cm", measured(110.0)),
    ("PAUSA 20 MAYO", paused(date(2026, 5, 20))),
    ("pausa hasta el lunes", paused(date(2026, 5, 11))),
    ("PAUSA 2 SEMANAS", paused(date(2026, 5, 21))),
    *((text, UNKNOWN) for text in ("gracias", "alto ahí", "¿Listo?")),
    *((text, PROBLEM) for text in ("CORTÉ 3", "pausa", "medido", "corté mañana")),
    ("CORTÉ 1400", Did("mowed")),
)
TABLE = [("en", text, did) for text, did in ENGLISH] + [("es", text, did) for text, did in SPANISH]


def done_by(gateway: Gateway) -> Did:
    keeper, reports = gateway.phone.keeper, gateway.phone.reports()
    newest = reports[-1] if reports else None
    return Did(
        gateway.kinds()[-1],
        newest and newest.height_mm and round(newest.height_mm, 2),
        newest and newest.on,
        keeper.paused_until,
        keeper.phone_suspended == STOPPED,
    )


def test_the_table_is_a_long_one() -> None:
    assert len(TABLE) >= 60


@pytest.mark.parametrize(("language", "text", "did"), TABLE, ids=[f"{row[0]} {row[1]!r}" for row in TABLE])
def test_a_text_does_what_it_asks_for(gateway: Gateway, language: str, text: str, did: Did) -> None:
    gateway.phone.change(language=language, units=Units.US if language == "en" else Units.METRIC)
    assert gateway.text(text, kind=JSON).status_code == 200
    assert done_by(gateway) == did
    assert gateway.rows()["outbox"] == 1


def test_the_answer_leaves_at_once(gateway: Gateway) -> None:
    answer = gateway.text("MOWED")
    assert (answer.status_code, answer.text) == (200, "")
    assert until_texted(gateway.visitor, 1) == ["Noted: Home, front was cut to 2 1/2 in on Thursday, May 7."]


def test_a_text_handed_over_twice_is_done_once(gateway: Gateway) -> None:
    for _ in range(3):
        assert gateway.text("MOWED", number="same").status_code == 200
    assert len(gateway.phone.reports()) == 1
    assert len(until_texted(gateway.visitor, 1)) == 1
    assert gateway.rows()["inbound"] == 1


def test_a_form_and_json_are_the_same(gateway: Gateway) -> None:
    gateway.text("Corté 80 ayer", number="form")
    gateway.text("Corté 80 ayer", number="form", kind=JSON)
    assert gateway.kinds() == ["mowed"]
    gateway.text("STOP", kind=f"{JSON}; charset=utf-8")
    assert gateway.phone.keeper.phone_suspended == STOPPED


@pytest.mark.parametrize(
    "headers",
    [{"X-Signature": ""}, {"X-Signature": "0" * 64}, {"X-Signature": "\xe9\xff"}, {"X-Signature": "sha256"}],
)
def test_a_wrong_signature_is_refused_and_nothing_is_kept(gateway: Gateway, headers: dict[str, str]) -> None:
    before = gateway.rows()
    assert gateway.text("STOP", **headers).status_code == 401
    assert gateway.text("STOP", secret="guessed").status_code == 401  # noqa: S106 - and wrong
    assert gateway.rows() == before
    assert gateway.phone.keeper.phone_suspended is None


def test_a_signature_is_of_these_bytes_and_no_others(gateway: Gateway) -> None:
    body = urlencode({"from": PHONE, "text": "MOWED", "id": "m1"}).encode()
    signature = hmac.new(SECRET.encode(), body, sha256).hexdigest()
    other = body.replace(b"MOWED", b"STOP")
    assert gateway.post(other, **{"X-Signature": signature}).status_code == 401
    assert gateway.post(body, **{"X-Signature": signature.upper()}).status_code == 200


def test_without_a_secret_there_is_no_such_place(services: Services, visitor: Visitor) -> None:
    assert load_settings(None, environ={}).sms.inbound_secret.get_secret_value() == ""
    with served(create_app(with_sms(services, inbound_secret=SecretStr("")))) as url:
        visitor.url = url
        gateway = Gateway(visitor, Phone(services.store, services.turf, now=visitor.now))
        assert gateway.text("STOP", secret="").status_code == 404
    assert gateway.rows()["inbound"] == 0


def test_a_stranger_is_not_answered(gateway: Gateway) -> None:
    before = gateway.rows()
    for sender in ("+15155550199", "Shop", "", "12345", "+"):
        assert gateway.text("HELP", sender=sender).status_code == 200
    assert gateway.rows() == before | {"inbound": 5}
    assert texted(gateway.visitor) == []


@pytest.mark.parametrize(
    "body",
    [b"", b"from=%2B15155550101&text=STOP", b"text=STOP&id=m1", b"from=a&id=m1", b"from=a&text=b&id="],
)
def test_a_body_without_its_fields_is_a_clear_refusal(gateway: Gateway, body: bytes) -> None:
    answer = gateway.post(body)
    assert answer.status_code == 400
    assert "from, text, id" in answer.text
    assert gateway.rows()["inbound"] == 0


def test_what_is_too_large_is_refused(gateway: Gateway) -> None:
    assert gateway.text("x" * 70_000).status_code == 413
    assert gateway.rows()["inbound"] == 0


def test_looking_at_the_place_does_nothing(gateway: Gateway) -> None:
    before = gateway.rows()
    assert gateway.visitor.get("/hooks/sms?from=%2B15155550101&text=STOP&id=m1").status_code == 405
    assert gateway.rows() == before


NUMBERS = st.sampled_from([PHONE, PHONE[1:], f" {PHONE}", "", "+", "tel", "0015155550101"]) | st.text()
WORDS = st.sampled_from([text for _, text, _ in TABLE]) | st.text()
ODD = st.none() | st.booleans() | st.integers() | st.floats() | st.lists(st.text(), max_size=2) | WORDS
FIELDS = st.fixed_dictionaries({}, optional={"from": NUMBERS | ODD, "text": WORDS | ODD, "id": ODD})
BODIES = (
    st.binary(max_size=300)
    | FIELDS.map(lambda fields: json.dumps(fields).encode())
    | FIELDS.map(lambda fields: urlencode(fields, errors="replace").encode())
    | st.recursive(ODD, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)).map(
        lambda value: json.dumps(value).encode()
    )
)
KINDS = st.sampled_from(
    [FORM, JSON, "", "text/plain", "application/vnd.api+json", "multipart/form-data", ";"]
)


@settings(max_examples=150)
@given(body=BODIES, kind=KINDS)
def test_no_body_whatever_breaks_it(gateway: Gateway, body: bytes, kind: str) -> None:
    assert gateway.post(body, kind=kind).status_code in (200, 400, 413)


@given(body=st.binary(max_size=200), kind=KINDS)
@settings(max_examples=40)
def test_no_unsigned_body_whatever_is_read(gateway: Gateway, body: bytes, kind: str) -> None:
    assert gateway.post(body, kind=kind, secret="guessed").status_code == 401  # noqa: S106 - and wrong


@pytest.mark.parametrize(
    ("sender", "number"),
    [
        ("+15155550101", PHONE),
        ("15155550101", PHONE),
        (" 15155550101", PHONE),
        ("0015155550101", PHONE),
        ("+1 (515) 555-0101", PHONE),
        ("+34 600 000 000", "+34600000000"),
        ("Shop", ""),
        ("", ""),
        ("12", ""),
        ("+" + "1" * 300, ""),
        ("\x00\ud800", ""),
    ],
)
def test_a_number_is_read_however_a_gateway_writes_it(sender: str, number: str) -> None:
    assert as_e164(sender) == number


@given(st.text())
def test_whatever_a_gateway_numbers_its_texts_with_can_be_kept(number: str) -> None:
    kept = storable(number)
    assert 0 < len(kept) <= 100
    assert kept.isascii()
    assert kept.isprintable()
    assert storable(number) == kept
    assert storable(kept) == kept


def test_fields_may_have_other_names_and_stand_inside_others() -> None:
    chosen = SmsSettings(
        inbound_from_field="data.sender", inbound_text_field="body", inbound_id_field="data.no"
    )
    body = json.dumps({"data": {"sender": 15155550101, "no": 7}, "body": "MOWED"}).encode()
    read = read_inbound(body, JSON, chosen)
    assert read is not None
    assert (read.gateway_id, read.phone, read.text) == ("7", PHONE, "MOWED")
    form = urlencode({"data.sender": PHONE, "data.no": "7", "body": "MOWED"}).encode()
    assert read_inbound(form, FORM, chosen) == read
    assert read_inbound(b'{"data": [], "body": "MOWED"}', JSON, chosen) is None
