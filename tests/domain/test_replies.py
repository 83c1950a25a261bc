"""Inbound texts as people write them, and what each is read as."""

import unicodedata
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.replies import Problem, Reply, ReplyKind, read_reply

TODAY = date(2026, 6, 25)
"""A Thursday."""
STOP, START, HELP = Reply(ReplyKind.STOP), Reply(ReplyKind.START), Reply(ReplyKind.HELP)
WHY, YES, UNKNOWN = Reply(ReplyKind.WHY), Reply(ReplyKind.CONFIRM), Reply(ReplyKind.UNKNOWN)


def mowed(height_mm: float | None = None, on: date | None = None) -> Reply:
    return Reply(ReplyKind.MOWED, height_mm=height_mm, on=on)


def june(day: int) -> date:
    return date(2026, 6, day)


def measured(height_mm: float) -> Reply:
    return Reply(ReplyKind.MEASURED, height_mm=height_mm)


def paused(until: date) -> Reply:
    return Reply(ReplyKind.PAUSE, until=until)


def asks(problem: Problem) -> Reply:
    return Reply(ReplyKind.UNKNOWN, problem=problem)


def read(text: str, *, inches: bool = False, today: date = TODAY) -> Reply:
    return read_reply(text, today=today, inches=inches)


STOPS = (
    *("STOP", "stop", "Stop.", "  sToP  ", "STOP!!!", "stop stop stop", "Please stop", "stop, please"),
    *("STOPALL", "STOP ALL", "UNSUBSCRIBE", "cancel", "End", "QUIT", "revoke"),
    *("OPTOUT", "opt-out", "Opt out", "¡Alto!"),
    *("ALTO", "parar", "¡BASTA!", "Baja", "CANCELAR", "baja por favor", "Por favor,\N{NO-BREAK SPACE}parar"),
    *("“STOP”", "'stop'", '"stop".', "ＳＴＯＰ", "STÓP", "STO\N{COMBINING ACUTE ACCENT}P"),
    *("🛑 STOP 🛑", "STOP\N{ZERO WIDTH SPACE}", "\nSTOP\n", "—\nSTOP\n—"),
    *("STOP\n\nBob", "Stop\n-- \nBob, 555-0100", "STOP\nSent from my iPhone 15", "STOP\n555-0100"),
    *("stop Enviado desde mi Samsung", "STOP\r\n> MOW Saturday. Reply STOP to end.", "Hola\nalto\ngracias"),
    *("STOP ⛔️", "STOP ℹ️", "\N{BYTE ORDER MARK}stop", "(stop)", "* S͏TOP *", "STOP\N{REPLACEMENT CHARACTER}"),
)  # fmt: skip
NOT_STOPS = (
    "I can't stop now",
    "I can’t stop now",
    "stop by on Friday",
    "don't stop",
    "stop it raining!",
    "non-stop",
    "the bus stop",
    "S T O P",
    "STOPPED",
    "cancel the mower service",
    "weekend",
    "no me da la baja",
    "alto ahí",
)
COMMANDS = (
    ("START", START),
    ("unstop", START),
    ("Alta", START),
    ("¡INICIAR!", START),
    ("start please", START),
    ("START over with my lawn", UNKNOWN),
    ("HELP", HELP),
    ("help!", HELP),
    ("Info?", HELP),
    ("¿Ayuda?", HELP),
    ("AYUDA por favor", HELP),
    ("WHY", WHY),
    ("why??", WHY),
    ("POR QUE", WHY),
    ("¿POR QUÉ?", WHY),
    ("¿por que\N{COMBINING ACUTE ACCENT}?", WHY),
    ("porqué", WHY),
    ("por\N{NO-BREAK SPACE}favor, ¿por  qué?", WHY),
    ("YES", YES),
    ("yes please!", YES),
    ("SI", YES),
    ("Sí", YES),
    ("si\N{COMBINING ACUTE ACCENT}, gracias", YES),
    ("ｙｅｓ 👍🏽", YES),
    ("si llueve no", UNKNOWN),
    ("", UNKNOWN),
    ("   \n ", UNKNOWN),
    ("👍", UNKNOWN),
    ("thanks", UNKNOWN),
    ("What is this?", UNKNOWN),
    ("> MOWED 80", UNKNOWN),
    ("Sent from my iPhone", UNKNOWN),
)
MOWINGS = (
    ("MOWED", mowed()),
    ("mowed.", mowed()),
    ("Mow", mowed()),
    ("CUT", mowed()),
    ("Done! ✅", mowed()),
    ("CORTE", mowed()),
    ("Corté", mowed()),
    ("CORTE\N{COMBINING ACUTE ACCENT}", mowed()),
    ("cortado 👍", mowed()),
    ("¡Listo!", mowed()),
    ("I just mowed the lawn", mowed()),
    ("Ya corté el césped, gracias", mowed()),
    ("MOWED 80", mowed(80.0)),
    ("Mowed: 80mm", mowed(80.0)),
    ("mowed80", mowed(80.0)),
    ("MOWED  80\N{NO-BREAK SPACE}mm.", mowed(80.0)),
    ("ＭＯＷＥＤ ８０", mowed(80.0)),
    ("mowed 8️⃣0️⃣", mowed(80.0)),
    ("MOWED\n80", mowed(80.0)),
    ("“Mowed 80”", mowed(80.0)),
    ('MOWED "80"', mowed(80.0)),
    ("CUT AT 8 cm", mowed(80.0)),
    ("cortado a 8,5 cm", mowed(85.0)),
    ("MOWED 3 in", mowed(76.2)),
    ('MOWED 3"', mowed(76.2)),
    ("MOWED 3”", mowed(76.2)),
    ("MOWED 3″ today", mowed(76.2, TODAY)),
    ("MOWED 3''", mowed(76.2)),
    ("mowed 3.5 in", mowed(88.9)),
    ("MOWED 2 1/2 in", mowed(63.5)),
    ("MOWED 2-1/2 inches", mowed(63.5)),
    ("MOWED 2½″", mowed(63.5)),
    ("MOWED 2\N{FRACTION SLASH}4 in", mowed(12.7)),
    ("MOWED .75 in", mowed(19.05)),
    ("CORTÉ 3,5 pulgadas", mowed(88.9)),
    ("MOWED 80\nJuan Pérez", mowed(80.0)),
    ("MOWED 80\n—\nJuan, 555-0100", mowed(80.0)),
    ("MOWED 80 thanks\nJune", mowed(80.0)),
    ("MOWED TODAY", mowed(on=TODAY)),
    ("Mowed this morning", mowed(on=TODAY)),
    ("corté esta mañana", mowed(on=TODAY)),
    ("mowed yesterday", mowed(on=june(24))),
    ("MOWED 80 yesterday", mowed(80.0, june(24))),
    ("MOWED yesterday, 80 mm", mowed(80.0, june(24))),
    ("MOWED 80\nyesterday", mowed(80.0, june(24))),
    ("Corté hoy a 80 mm", mowed(80.0, TODAY)),
    ("cortado ayer", mowed(on=june(24))),
    ("mowed last night", mowed(on=june(24))),
    ("Corté anteayer", mowed(on=june(23))),
    ("mowed Monday", mowed(on=june(22))),
    ("MOWED THURSDAY", mowed(on=TODAY)),
    ("MOWED LAST THURSDAY", mowed(on=june(18))),
    ("Corté el miércoles", mowed(on=june(24))),
    ("corté 80 el sábado pasado", mowed(80.0, june(20))),
    ("MOWED 20 JUN", mowed(on=june(20))),
    ("MOWED 20JUN", mowed(on=june(20))),
    ("MOWED JUN 20", mowed(on=june(20))),
    ("MOWED 80 JUN 20", mowed(80.0, june(20))),
    ("MOWED 80 20 JUN", mowed(80.0, june(20))),
    ("MOWED 20 JUN 80", mowed(80.0, june(20))),
    ("MOWED 10 JUN 20 mm", mowed(20.0, june(10))),
    ("MOWED 10 JUN 20", mowed(20.0, june(10))),  # a bare 10 has no unit, so it is the day
    ("MOWED June 20th, 2026 at 3 in", mowed(76.2, june(20))),
    ("Saturday the 20th of June mowed", UNKNOWN),
    ("mowed on Saturday, 20 June", mowed(on=june(20))),
    ("MOWED the 20th", mowed(on=june(20))),
    ("Corté el 1º de junio", mowed(on=june(1))),
    ("cortado 80 mm el 20 de junio de 2026", mowed(80.0, june(20))),
    ("MOWED 80 2026-06-20", mowed(80.0, june(20))),
    ("MOWED 2026/6/20", mowed(on=june(20))),
    ("MOWED 20 MAR", mowed(on=date(2026, 3, 20))),
    ("MOWED 26 JUN", mowed(on=date(2025, 6, 26))),
    ("MOWED 31 DIC", mowed(on=date(2025, 12, 31))),
    ("MOWED 29 FEB", mowed(on=date(2024, 2, 29))),
    ("MOWED 3", asks(Problem.SAY_UNIT)),
    ("MOWED 12", asks(Problem.SAY_UNIT)),
    ("MOWED 2 1/2 yesterday", asks(Problem.SAY_UNIT)),
    ("MOWED 13", mowed(13.0)),
    ("MOWED 3 mm", mowed(3.0)),
    ("MOWED 2 mm", asks(Problem.HEIGHT_OUT_OF_RANGE)),
    ("MOWED 1500", mowed(1500.0)),
    ("MOWED 1501", asks(Problem.HEIGHT_OUT_OF_RANGE)),
    ("MOWED 80 in", asks(Problem.HEIGHT_OUT_OF_RANGE)),
    ("MOWED 8o", asks(Problem.MISSING_HEIGHT)),
    ("MOWED 80 kg", asks(Problem.MISSING_HEIGHT)),
    ("MOWED 3'", asks(Problem.MISSING_HEIGHT)),
    ("MOWED 80 90", asks(Problem.MISSING_HEIGHT)),
    ("MOWED 1,500 mm", asks(Problem.MISSING_HEIGHT)),
    ("MOWED 31 FEB", asks(Problem.UNREADABLE_DATE)),
    ("MOWED 80\n31 FEB", asks(Problem.UNREADABLE_DATE)),
    ("MOWED 6/20", asks(Problem.UNREADABLE_DATE)),
    ("MOWED 80 20.06.2026", asks(Problem.UNREADABLE_DATE)),
    ("MOWED Friday 20 June", asks(Problem.UNREADABLE_DATE)),
    ("MOWED Monday 0 June", asks(Problem.UNREADABLE_DATE)),
    ("MOWED IN JUNE", asks(Problem.UNREADABLE_DATE)),
    ("MOWED 2026-13-01", asks(Problem.UNREADABLE_DATE)),
    ("MOWED tomorrow", asks(Problem.DATE_TO_COME)),
    ("mow next Monday", asks(Problem.DATE_TO_COME)),
    ("MOWED 80 2026-06-26", asks(Problem.DATE_TO_COME)),
    ("Mow today?", UNKNOWN),
    ("¿Listo?", UNKNOWN),
    ("Cut it out", UNKNOWN),
    ("done with you", UNKNOWN),
    ("not mowed", UNKNOWN),
    ("MOWED STOP", UNKNOWN),
    ("MOWED 80\nMEASURED 90", asks(Problem.MISSING_HEIGHT)),
)
IN_INCHES = (
    ("MOWED 3", mowed(76.2)),
    ("MOWED 3 1/2", mowed(88.9)),
    ("MOWED 2½", mowed(63.5)),
    ("mowed 3,5 ayer", mowed(88.9, june(24))),
    ("MOWED 12", mowed(304.8)),
    ("MOWED 13", mowed(13.0)),
    ("MOWED 80", mowed(80.0)),
    ("MOWED 8 cm", mowed(80.0)),
    ("MOWED 3 20 JUN", mowed(76.2, june(20))),
    ("MOWED 0", asks(Problem.HEIGHT_OUT_OF_RANGE)),
    ("MOWED 6/8", asks(Problem.UNREADABLE_DATE)),
    ("MOWED 3 6/8", asks(Problem.UNREADABLE_DATE)),
    ("MOWED 3 6/8 in", mowed(95.25)),
    ("MOWED 3 JUN 20", asks(Problem.UNREADABLE_DATE)),
    ("HEIGHT 4.25", measured(107.95)),
)
MEASUREMENTS = (
    ("MEASURED 110", measured(110.0)),
    ("Medido 11 cm", measured(110.0)),
    ("ALTURA: 110 mm", measured(110.0)),
    ("height is 110", measured(110.0)),
    ("I measured 4 in today", measured(101.6)),
    ("Height 110?", measured(110.0)),
    ("MEASURED", asks(Problem.MISSING_HEIGHT)),
    ("¿Altura?", asks(Problem.MISSING_HEIGHT)),
    ("MEASURED tall", asks(Problem.MISSING_HEIGHT)),
    ("MEASURED today", asks(Problem.MISSING_HEIGHT)),
    ("MEASURED 5", asks(Problem.SAY_UNIT)),
    ("MEASURED 2000", asks(Problem.HEIGHT_OUT_OF_RANGE)),
    ("MEASURED 110 yesterday", asks(Problem.UNREADABLE_DATE)),
)
PAUSES = (
    ("PAUSE 20 JUL", paused(date(2026, 7, 20))),
    ("PAUSA 20 JUL", paused(date(2026, 7, 20))),
    ("PAUSE 20 JUN", paused(date(2027, 6, 20))),
    ("pause jul 20th please", paused(date(2026, 7, 20))),
    ("Pause until the 20th", paused(date(2026, 7, 20))),
    ("Pausa hasta el 20", paused(date(2026, 7, 20))),
    ("PAUSE UNTIL MONDAY", paused(june(29))),
    ("pausa hasta el próximo lunes", paused(june(29))),
    ("pausa hasta mañana", paused(june(26))),
    ("pausa hasta man\N{COMBINING TILDE}ana", paused(june(26))),
    ("PAUSE UNTIL THURSDAY", paused(date(2026, 7, 2))),
    ("PAUSE TODAY", paused(TODAY)),
    ("PAUSE 25 JUN", paused(TODAY)),
    ("PAUSE 2026-08-01", paused(date(2026, 8, 1))),
    ("PAUSE 29 FEB", paused(date(2028, 2, 29))),
    ("PAUSE 2 WEEKS", paused(date(2026, 7, 9))),
    ("PAUSE 10 DAYS", paused(date(2026, 7, 5))),
    ("pause for a week\nBob", paused(date(2026, 7, 2))),
    ("Pausa por 10 días", paused(date(2026, 7, 5))),
    ("PAUSA UNA SEMANA", paused(date(2026, 7, 2))),
    ("PAUSE", asks(Problem.MISSING_DATE)),
    ("pause\nBob", asks(Problem.MISSING_DATE)),
    ("PAUSE 20", asks(Problem.UNREADABLE_DATE)),
    ("PAUSE 31 JUN", asks(Problem.UNREADABLE_DATE)),
    ("PAUSE 0 DAYS", asks(Problem.UNREADABLE_DATE)),
    ("PAUSE 7/20", asks(Problem.UNREADABLE_DATE)),
    ("PAUSE forever", asks(Problem.UNREADABLE_DATE)),
    ("PAUSE 2026-06-24", asks(Problem.DATE_PAST)),
    ("PAUSE 24 JUN 2026", asks(Problem.DATE_PAST)),
    ("PAUSE UNTIL YESTERDAY", asks(Problem.DATE_PAST)),
    ("pause until last monday", asks(Problem.DATE_PAST)),
)


@pytest.mark.parametrize("text", STOPS)
def test_a_stop_in_any_dress_stops(text: str) -> None:
    assert read(text) == STOP


@pytest.mark.parametrize("text", NOT_STOPS)
def test_a_word_within_a_sentence_stops_nothing(text: str) -> None:
    assert read(text) == UNKNOWN


@pytest.mark.parametrize(("text", "reply"), COMMANDS)
def test_a_command_stands_alone(text: str, reply: Reply) -> None:
    assert read(text) == reply


@pytest.mark.parametrize(("text", "reply"), MOWINGS)
def test_a_mowing_is_told_with_or_without_height_and_day(text: str, reply: Reply) -> None:
    assert read(text) == reply


@pytest.mark.parametrize(("text", "reply"), IN_INCHES)
def test_a_bare_figure_is_in_the_keepers_units(text: str, reply: Reply) -> None:
    assert read(text, inches=True) == reply


@pytest.mark.parametrize(("text", "reply"), MEASUREMENTS)
def test_a_measurement_needs_its_height(text: str, reply: Reply) -> None:
    assert read(text) == reply


@pytest.mark.parametrize(("text", "reply"), PAUSES)
def test_a_pause_lasts_until_the_next_such_day(text: str, reply: Reply) -> None:
    assert read(text) == reply


@pytest.mark.parametrize(
    "text", ["STOP\0", "\x1bSTOP", "MOWED\x0780", "\ud83d STOP", "STOP" + " " * 477, "MOWED 80 " * 60]
)
def test_what_is_no_short_text_is_not_read(text: str) -> None:
    assert read(text) == UNKNOWN


def test_the_longest_text_is_read() -> None:
    assert read("STOP" + " " * 476) == STOP


@pytest.mark.parametrize("today", [date.min, date.max])
@pytest.mark.parametrize("text", ["PAUSE 999 WEEKS", "PAUSE TOMORROW", "MOWED YESTERDAY", "MOWED 5 MAY"])
def test_the_ends_of_the_calendar_are_met_calmly(text: str, today: date) -> None:
    assert read(text, today=today).kind in (ReplyKind.UNKNOWN, ReplyKind.MOWED, ReplyKind.PAUSE)


NOISE = (
    "MOWED CUT corté MEASURED altura PAUSE pausa hasta until 80 3 1/2 2½ 0 20 31 1501 99999 mm cm in \" ' ″ "
    "JUN FEB mar 2026 2026-06-20 2026-02-30 monday jueves the el last next th º today mañana WEEKS días "
    "STOP YES ? ¿ , . - / > -- \n 👍 \N{ZERO WIDTH JOINER} ² ٣ Ⅷ ﷺ"
)
WORDS = st.sampled_from(NOISE.split(" "))


@given(
    text=st.text(max_size=500) | st.lists(WORDS, max_size=25).map(" ".join) | st.lists(WORDS).map("".join),
    today=st.dates(),
    inches=st.booleans(),
)
def test_any_text_gets_an_answer_that_holds_together(text: str, today: date, inches: bool) -> None:
    reply = read(text, inches=inches, today=today)
    assert reply.height_mm is None or 3 <= reply.height_mm <= 1500
    assert reply.on is None or reply.on <= today
    assert reply.until is None or reply.until >= today
    assert (reply.until is not None) == (reply.kind is ReplyKind.PAUSE)
    assert reply.problem is None or reply.kind is ReplyKind.UNKNOWN
    assert reply.height_mm is not None or reply.kind is not ReplyKind.MEASURED
    assert reply.kind in (ReplyKind.MOWED, ReplyKind.MEASURED) or reply.height_mm is None


ACCENTS = st.sampled_from(
    ["", "", "\N{COMBINING ACUTE ACCENT}", "\N{COMBINING TILDE}", "\N{ZERO WIDTH SPACE}"]
)
AROUND = st.text(
    st.sampled_from(" \t\n\N{NO-BREAK SPACE}\N{EM SPACE}.,!¡?¿*()…—🛑🙏“”\N{WORD JOINER}"), max_size=8
)
STOP_WORDS = ("stop", "stopall", "unsubscribe", "cancel", "end", "quit", "revoke", "optout")
ALTOS = ("alto", "parar", "basta", "baja", "cancelar")


@given(
    word=st.sampled_from(STOP_WORDS + ALTOS),
    before=AROUND,
    after=AROUND,
    composed=st.booleans(),
    wide=st.booleans(),
    data=st.data(),
)
def test_stop_stays_stop(
    word: str, before: str, after: str, composed: bool, wide: bool, data: st.DataObject
) -> None:
    cased = (data.draw(st.sampled_from([char, char.upper()])) for char in word)
    dressed = "".join(_widened(char, wide) + data.draw(ACCENTS) for char in cased)
    text = before + (unicodedata.normalize("NFC", dressed) if composed else dressed) + after
    assert read(text) == STOP


def _widened(char: str, wide: bool) -> str:
    # The full-width block repeats ASCII in its order.
    return chr(ord(char) + 0xFEE0) if wide else char


@given(
    on=st.dates(date(2000, 1, 1), date(2099, 12, 31)),
    today=st.dates(date(2010, 1, 1), date(2090, 1, 1)),
    style=st.sampled_from(["{0.day} {0:%b}", "{0:%b} {0.day}", "the {0.day}th of {0:%B}", "{0:%B}{0.day}"]),
)
def test_a_date_without_a_year_is_the_nearest_such(on: date, today: date, style: str) -> None:
    said = style.format(on)
    back, ahead = read(f"MOWED {said}", today=today).on, read(f"PAUSE {said}", today=today).until
    assert back is not None
    assert ahead is not None
    assert back <= today <= ahead
    assert {(day.month, day.day) for day in (back, ahead)} == {(on.month, on.day)}
    assert ahead - back <= timedelta(days=366 if (on.month, on.day) != (2, 29) else 4 * 366)
    assert ahead == back == today or back < today < ahead


@given(tenths=st.integers(30, 15000))
def test_a_height_in_millimetres_comes_back_as_told(tenths: int) -> None:
    said = f"{tenths / 10:.1f}"
    assert read(f"MOWED {said} mm") == mowed(tenths / 10)
    assert read(f"medido {said.replace('.', ',')}mm") == measured(tenths / 10)
