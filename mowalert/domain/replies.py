"""What an inbound SMS asks for, in English or Spanish, read into a value.

Whoever cannot be understood is asked, never guessed at: a text with two meanings is none.
"""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from mowalert.domain.units import MM_PER_INCH


class ReplyKind(StrEnum):
    """What a text asks for."""

    STOP = "stop"
    START = "start"
    HELP = "help"
    MOWED = "mowed"
    MEASURED = "measured"
    WHY = "why"
    PAUSE = "pause"
    CONFIRM = "confirm"
    UNKNOWN = "unknown"


class Problem(StrEnum):
    """What was wrong with a text whose first word is known."""

    MISSING_HEIGHT = "missing_height"
    SAY_UNIT = "say_unit"
    HEIGHT_OUT_OF_RANGE = "height_out_of_range"
    MISSING_DATE = "missing_date"
    UNREADABLE_DATE = "unreadable_date"
    DATE_PAST = "date_past"
    DATE_TO_COME = "date_to_come"


@dataclass(frozen=True, slots=True)
class Reply:
    """One text, understood. Heights in mm, dates local.

    ``height_mm`` comes with MEASURED always and with MOWED where it was told; ``on`` is the day of a
    mowing, none where no day was told; ``until`` is the last day of a pause. ``problem`` comes with
    UNKNOWN only, and only where the text began as MOWED, MEASURED or PAUSE do.
    """

    kind: ReplyKind
    height_mm: float | None = None
    on: date | None = None
    until: date | None = None
    problem: Problem | None = None


LONGEST_TEXT = 480
"""Three parts of 160 characters: longer than anything to be understood here."""
LOWEST_MM, HIGHEST_MM = 3.0, 1500.0
"""From a putting green to the tallest height a region guide may name."""
LARGEST_BARE_INCHES = 12.0
"""No lawn is cut above a foot nor, outside greens, below 12 mm: the figure tells its unit."""
LONGEST_REST = 16
"""Words after the first. More make a story, and every way to split them costs time."""
SEARCHED_DAYS = 8 * 366
"""29 February can be eight years away: 2096, 2104."""

BARE = {
    # The seven of 47 CFR 64.1200(a)(10), what carriers add, and Spanish.
    **dict.fromkeys(("stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"), ReplyKind.STOP),
    **dict.fromkeys(("stopall", "stop all", "optout"), ReplyKind.STOP),
    **dict.fromkeys(("alto", "parar", "basta", "baja", "cancelar"), ReplyKind.STOP),
    **dict.fromkeys(("start", "unstop", "alta", "iniciar"), ReplyKind.START),
    **dict.fromkeys(("help", "info", "ayuda"), ReplyKind.HELP),
    **dict.fromkeys(("why", "por que", "porque"), ReplyKind.WHY),
    **dict.fromkeys(("yes", "si"), ReplyKind.CONFIRM),
}
MOWED_WORDS = frozenset({"mowed", "mow", "cut", "done", "corte", "cortado", "listo"})
MEASURED_WORDS = frozenset({"measured", "medido", "altura", "height"})
PAUSE_WORDS = frozenset({"pause", "pausa"})

MM_PER_UNIT = {
    **dict.fromkeys(("mm", "millimeter", "millimeters", "millimetre", "millimetres"), 1.0),
    **dict.fromkeys(("milimetro", "milimetros"), 1.0),
    **dict.fromkeys(("cm", "centimeter", "centimeters", "centimetre", "centimetres"), 10.0),
    **dict.fromkeys(("centimetro", "centimetros"), 10.0),
    **dict.fromkeys(("in", "inch", "inches", "pulgada", "pulgadas", "pulg"), MM_PER_INCH),
}
MONTHS = {
    word: number
    for number, words in enumerate(
        (
            "january jan enero ene",
            "february feb febrero",
            "march mar marzo",
            "april apr abril abr",
            "may mayo",
            "june jun junio",
            "july jul julio",
            "august aug agosto ago",
            "september sept sep septiembre setiembre set",
            "october oct octubre",
            "november nov noviembre",
            "december dec diciembre dic",
        ),
        start=1,
    )
    for word in words.split()
}
# "mar" is March only: as martes it would give "MOWED 20 MAR" a second meaning.
WEEKDAYS = {
    word: number
    for number, words in enumerate(
        (
            "monday mon lunes lun",
            "tuesday tues tue martes",
            "wednesday wed miercoles mie",
            "thursday thurs thur thu jueves jue",
            "friday fri viernes vie",
            "saturday sat sabado sab",
            "sunday sun domingo dom",
        )
    )
    for word in words.split()
}
DAYS_FROM_TODAY = {
    **dict.fromkeys(("today", "this morning", "this afternoon", "this evening"), 0),
    **dict.fromkeys(("hoy", "esta manana", "esta tarde"), 0),
    **dict.fromkeys(("yesterday", "last night", "ayer", "anoche"), -1),
    **dict.fromkeys(("day before yesterday", "anteayer"), -2),
    **dict.fromkeys(("tomorrow", "manana"), 1),
}
PAST_WORDS, COMING_WORDS = frozenset({"last", "pasado"}), frozenset({"next", "proximo"})
DATE_WORDS = frozenset(WEEKDAYS) | frozenset(DAYS_FROM_TODAY)
DAYS_PER_SPAN = {
    **dict.fromkeys(("day", "days", "dia", "dias"), 1),
    **dict.fromkeys(("week", "weeks", "semana", "semanas"), 7),
}
FILLERS = frozenset(
    {"it", "the", "my", "lawn", "grass", "yard", "to", "at", "of", "a", "is", "height"}
    | {"el", "la", "al", "mi", "de", "en", "es", "cesped", "pasto", "altura", "alto"}
)


_LEAD = re.compile(r"^(?:(?:i|we|he|just|have|ive|weve|ya|hemos) )+")
_POLITE = (
    "please|pls|plz|thanks|thank you|many thanks|thx|hi|hello|hey"
    "|por favor|porfavor|porfa|gracias|muchas gracias|hola"
)
_COURTESY = re.compile(rf"^(?:(?:{_POLITE}) )+|(?: (?:{_POLITE}))+$")
_SIGNATURE = re.compile(
    r"^[ \t]*(?:[-_]{2,}|[–—]+)[ \t]*$|\b(?:sent (?:from|via)|enviado (?:desde|con)|get outlook)\b",
    re.MULTILINE,
)
_QUOTED_LINE = re.compile(r"^[ \t]*>.*$", re.MULTILINE)

# Marks that a keyboard sets for ' and ", some of which NFKD would take apart into a space and an accent.
_MARKS = str.maketrans({**dict.fromkeys("‘’‚‛′´`ʼʹ", "'"), **dict.fromkeys("“”„‟″ʺ˝", '"')})
# Characters that are letters until a variation selector makes them pictures, such as an "i" in a box.
_PICTURE = re.compile("[^\x00-\x7f]\N{VARIATION SELECTOR-16}")
_VULGAR_FRACTION = re.compile("([¼-¾⅐-⅞])")
_IN_QUOTES = re.compile(r"""(?<!\w)(["'])(.*?)\1""")
_INCH_MARK = re.compile(r"""(?<=[0-9])\s*(?:"|'')(?!\w)""")
_FOOT_MARK = re.compile(r"""(?<=[0-9])'(?!\w)""")
_WORD = re.compile(r"(?:(?<![\w.])\.)?[0-9]+(?:[.,/-][0-9]+)*|[^\W0-9_]+")

_HEIGHT = re.compile(
    r"(?:(?P<decimal>[0-9]{1,4}(?:\.[0-9]{1,3}|,[0-9]{1,2})?|\.[0-9]{1,3})"
    r"|(?:(?P<whole>[0-9]{1,2})[ -])?(?P<top>[0-9]{1,2})/(?P<bottom>2|4|8|16))"
    r"(?: (?P<unit>[a-z]+))?"
)
_BARE_FRACTION = re.compile(r"[0-9]{1,2}[ -](?:1/2|1/4|3/4)")

_WEEKDAY = rf"(?P<weekday>{'|'.join(WEEKDAYS)})"
_DAY = r"(?P<day>[0-9]{1,2})"
_ORDINAL = r"(?: (?:st|nd|rd|th))"
_ORDINAL_OF = r"(?: (?:st|nd|rd|th|o|er|ro))?"
_MONTH = rf"(?P<month>{'|'.join(MONTHS)})"
_YEAR = r"(?P<year>20[0-9]{2})"
_BEFORE_DATE = r"(?:(?:on|the|el|del|this|este|next|proximo|last|pasado) )*"
_DATES = tuple(
    re.compile(_BEFORE_DATE + shape)
    for shape in (
        rf"{_WEEKDAY}(?: (?:pasado|proximo))?",
        rf"(?:{_WEEKDAY} )?(?:the |el )?{_DAY}{_ORDINAL_OF}(?: of| de)? {_MONTH}(?:(?: de| del)? {_YEAR})?",
        rf"(?:{_WEEKDAY} )?{_MONTH} (?:the )?{_DAY}{_ORDINAL}?(?: {_YEAR})?",
        rf"{_YEAR}[-/](?P<month>[0-9]{{1,2}})[-/]{_DAY}",
        rf"(?:{_WEEKDAY} )?(?:the |el )?(?:dia )?{_DAY}{_ORDINAL}",
        rf"(?:{_WEEKDAY} )?(?:the|el)(?: dia)? {_DAY}",
    )
)
_DATE_LIKE = re.compile(r"\b[0-9]{1,4}[./-][0-9]{1,2}(?:[./-][0-9]{1,4})?\b")
_BEFORE_UNTIL = re.compile(r"^(?:(?:it|until|till|til|hasta|to|for|por|through|durante) )+")
_SPAN = re.compile(rf"(?P<count>[1-9][0-9]{{0,2}}|an?|one|una?) (?P<unit>{'|'.join(DAYS_PER_SPAN)})")

_UNKNOWN = Reply(ReplyKind.UNKNOWN)


def read_reply(text: str, *, today: date, inches: bool) -> Reply:
    """Read one inbound SMS; whatever it holds, there is an answer.

    A line further down counts as a signature if it holds no figure, no day and no command. A text whose
    first line alone asks to stop is a stop, whatever follows.

    Parameters
    ----------
    text : str
        The message as it came.
    today : date
        The keeper's local day. A mowing is on the latest such date up to it, a pause until the next.
    inches : bool
        Whether the keeper reads inches: what a bare figure is in.

    Returns
    -------
    Reply
        UNKNOWN, with its problem where there is one, for what cannot be understood.
    """
    if len(text) > LONGEST_TEXT or not _is_text(text):
        return _UNKNOWN
    lines = _lines(_plain(text))
    if lines and _read(lines[0], today, inches).kind is ReplyKind.STOP:
        return Reply(ReplyKind.STOP)
    reply = _UNKNOWN
    for body in _bodies(lines):
        reply = _read(body, today, inches)
        if reply.kind is not ReplyKind.UNKNOWN:
            break
    return reply


def _is_text(text: str) -> bool:
    return all(char in "\t\r\n" or unicodedata.category(char) not in ("Cc", "Cs") for char in text)


def _plain(text: str) -> str:
    """Take off case, accents, widths, pictures and invisible characters."""
    spaced = _VULGAR_FRACTION.sub(r" \1", _PICTURE.sub(" ", text.translate(_MARKS)))
    # Folding may compose anew, so it goes between the two.
    apart = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", spaced).casefold())
    seen = "".join(char for char in apart if unicodedata.category(char) not in ("Mn", "Me", "Cf"))
    return seen.replace("\N{FRACTION SLASH}", "/")


def _lines(plain: str) -> list[str]:
    parts = _SIGNATURE.split(_QUOTED_LINE.sub("", plain))
    # A rule above the first word is an ornament, and signs nothing.
    unsigned = next((part for part in parts if _words(part)), "")
    return [line for line in unsigned.splitlines() if _words(line)]


def _bodies(lines: list[str]) -> Iterator[str]:
    """Yield all lines, then ever fewer, as long as what is left off may be a signature."""
    for count in range(len(lines), 0, -1):
        yield "\n".join(lines[:count])
        if not _may_sign(lines[count - 1]):
            return


def _may_sign(line: str) -> bool:
    words = _words(line).split()
    told = any(word in DATE_WORDS or word[-1].isdigit() for word in words)
    return not (told or words[0] in BARE or words[0] in MOWED_WORDS | MEASURED_WORDS | PAUSE_WORDS)


def _words(body: str) -> str:
    """Words and figures with one space between; inch marks become a word."""
    unquoted = _IN_QUOTES.sub(r" \2 ", body)
    marked = _FOOT_MARK.sub(" ft ", _INCH_MARK.sub(" in ", unquoted))
    return " ".join(_WORD.findall(marked.replace("'", "")))


def _read(body: str, today: date, inches: bool) -> Reply:
    words = _COURTESY.sub("", _words(body))
    if kind := BARE.get(_once(words)):
        return Reply(kind)
    verb, _, rest = _LEAD.sub("", words).partition(" ")
    # "Mow today?" asks. Taken for a report it would silence the notice that answers it.
    if verb in MOWED_WORDS and not set(body) & set("?¿"):
        return _mowed(rest.split(), today, inches)
    if verb in MEASURED_WORDS:
        return _measured(rest.split(), today, inches)
    if verb in PAUSE_WORDS:
        return _paused(_BEFORE_UNTIL.sub("", rest), today)
    return _UNKNOWN


def _once(words: str) -> str:
    """Return "stop" for "stop stop stop"."""
    different = set(words.split())
    return different.pop() if len(different) == 1 else words


def _not_understood(problem: Problem) -> Reply:
    return Reply(ReplyKind.UNKNOWN, problem=problem)


def _mowed(words: list[str], today: date, inches: bool) -> Reply:
    found = _cuts(words, today, inches)
    cuts = [reply for reply in found if reply.kind is ReplyKind.MOWED]
    if len(cuts) == 1:
        return cuts[0]
    # "3 JUN 20" is 3 inches on the 20th, or 20 mm on the 3rd.
    if cuts:
        return _not_understood(Problem.UNREADABLE_DATE)
    return found[0] if found else _no_cut(words)


def _no_cut(words: list[str]) -> Reply:
    """Say what is wrong with words no part of which is a height or a day."""
    if any(word in DATE_WORDS or word in MONTHS or _DATE_LIKE.fullmatch(word) for word in words):
        return _not_understood(Problem.UNREADABLE_DATE)
    if any(word[-1].isdigit() for word in words):
        return _not_understood(Problem.MISSING_HEIGHT)
    # "Cut it out", "done with you": a sentence that only begins like a report.
    return _UNKNOWN


def _cuts(words: list[str], today: date, inches: bool) -> list[Reply]:
    """Return the different mowings that the words can tell: a day anywhere, the rest a height."""
    if len(words) > LONGEST_REST:
        return []
    ends = range(len(words) + 1)
    spans = [(0, 0), *((start, end) for start in ends for end in ends if start < end)]
    splits = ((words[:start], words[start:end], words[end:]) for start, end in spans)
    # A height stands on one side of its day: "10 JUN 20 mm" is no "10 mm".
    cuts = (
        _cut(before + after, day, today, inches)
        for before, day, after in splits
        if not (_telling(before) and _telling(after))
    )
    return list(dict.fromkeys(cut for cut in cuts if cut))


def _cut(height_words: list[str], day_words: list[str], today: date, inches: bool) -> Reply | None:
    height = _height_mm(height_words, inches)
    on = _day(" ".join(day_words), today, ahead=False)
    if (height is None and _telling(height_words)) or (on is None and day_words):
        return None
    if isinstance(on, date) and on > today:
        on = Problem.DATE_TO_COME
    if isinstance(on, Problem):
        return _not_understood(on)
    if isinstance(height, Problem):
        return _not_understood(height)
    return Reply(ReplyKind.MOWED, height_mm=height, on=on)


def _measured(words: list[str], today: date, inches: bool) -> Reply:
    found = _cuts(words, today, inches)
    # A height counts from today: one of another day has no place to go.
    if any(reply.on not in (None, today) for reply in found):
        return _not_understood(Problem.UNREADABLE_DATE)
    heights = {reply.height_mm for reply in found if reply.height_mm}
    if len(heights) == 1:
        return Reply(ReplyKind.MEASURED, height_mm=heights.pop())
    problems = (reply.problem for reply in found or [_no_cut(words)] if reply.problem)
    return _not_understood(next(problems, Problem.MISSING_HEIGHT))


def _telling(words: list[str]) -> list[str]:
    return [word for word in words if word not in FILLERS]


def _height_mm(words: list[str], inches: bool) -> float | Problem | None:
    """Return a height, what is wrong with it, or none where the words are no height."""
    text = " ".join(_telling(words))
    found = _HEIGHT.fullmatch(text)
    if found is None or (found["unit"] and found["unit"] not in MM_PER_UNIT):
        return None
    # "6/8" is a day in June as well, and so is the end of "3 6/8".
    if found["top"] and not (found["unit"] or _BARE_FRACTION.fullmatch(text)):
        return None
    figure = _figure(found)
    unit = found["unit"] or _unit_of_bare(figure, inches)
    return _in_range(figure * MM_PER_UNIT[unit]) if unit else Problem.SAY_UNIT


def _figure(found: re.Match[str]) -> float:
    if found["decimal"]:
        return float(found["decimal"].replace(",", "."))
    return int(found["whole"] or 0) + int(found["top"]) / int(found["bottom"])


def _unit_of_bare(figure: float, inches: bool) -> str | None:
    if figure > LARGEST_BARE_INCHES:
        return "mm"
    # Of a keeper who reads millimetres a 3 may be a green's, or an American mower's.
    return "in" if inches else None


def _in_range(height_mm: float) -> float | Problem:
    # Hundredths keep a quarter of an inch whole, and show no float's tail.
    rounded = round(height_mm, 2)
    return rounded if LOWEST_MM <= rounded <= HIGHEST_MM else Problem.HEIGHT_OUT_OF_RANGE


def _paused(rest: str, today: date) -> Reply:
    if not rest:
        return _not_understood(Problem.MISSING_DATE)
    until = _end_of_span(rest, today) or _day(rest, today, ahead=True) or Problem.UNREADABLE_DATE
    if isinstance(until, date) and until < today:
        until = Problem.DATE_PAST
    if isinstance(until, Problem):
        return _not_understood(until)
    return Reply(ReplyKind.PAUSE, until=until)


def _end_of_span(text: str, today: date) -> date | None:
    found = _SPAN.fullmatch(text)
    if found is None:
        return None
    count = int(found["count"]) if found["count"].isdigit() else 1
    return _shifted(today, count * DAYS_PER_SPAN[found["unit"]])


def _shifted(today: date, days: int) -> date | None:
    # A calendar has a first and a last day, and nothing here may raise.
    ordinal = today.toordinal() + days
    return date.fromordinal(ordinal) if 1 <= ordinal <= date.max.toordinal() else None


def _day(text: str, today: date, *, ahead: bool) -> date | Problem | None:
    """Return a day, what is wrong with it, or none where the words are no day."""
    if text in DAYS_FROM_TODAY:
        return _shifted(today, DAYS_FROM_TODAY[text]) or Problem.UNREADABLE_DATE
    found = next((match for shape in _DATES if (match := shape.fullmatch(text))), None)
    if found is None:
        return None
    words = set(text.split())
    if words & (PAST_WORDS if ahead else COMING_WORDS):
        return Problem.DATE_PAST if ahead else Problem.DATE_TO_COME
    named = _named(found.groupdict())
    # Until Monday, said on a Monday, is a week; so is last Monday.
    today_counts = named.day is not None or not (ahead or words & PAST_WORDS)
    return named.nearest(_days(today, ahead, 0 if today_counts else 1)) or Problem.UNREADABLE_DATE


def _days(today: date, ahead: bool, first: int) -> Iterator[date]:
    steps = range(first, SEARCHED_DAYS)
    days = (_shifted(today, step if ahead else -step) for step in steps)
    return (day for day in days if day)


@dataclass(frozen=True, slots=True)
class _Named:
    """What was said of a day: its weekday, or its day with or without the rest."""

    weekday: int | None
    day: int | None
    month: int | None
    year: int | None

    def nearest(self, days: Iterator[date]) -> date | None:
        on = self._in_its_year() if self.year else next(filter(self._fits, days), None)
        # "Saturday 20 June", where the 20th is no Saturday: one of the two is a slip.
        return on if on and self.weekday in (None, on.weekday()) else None

    def _fits(self, on: date) -> bool:
        if self.day is None:
            return on.weekday() == self.weekday
        return on.day == self.day and self.month in (None, on.month)

    def _in_its_year(self) -> date | None:
        try:
            return date(self.year or 0, self.month or 0, self.day or 0)
        except ValueError:
            return None


def _named(parts: dict[str, str | None]) -> _Named:
    day, month = parts.get("day"), parts.get("month") or ""
    return _Named(
        weekday=WEEKDAYS.get(parts.get("weekday") or ""),
        day=int(day) if day else None,
        month=int(month) if month.isdigit() else MONTHS.get(month),
        year=int(parts.get("year") or 0) or None,
    )
