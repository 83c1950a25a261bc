"""What all alerts have in common: texts fit to be shown, moments, links, and what a warning is about."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

from mowalert.domain.warnings import Severity, WarningKind

LONGEST_LINE = 400
LONGEST_TEXT = 6000
LONGEST_ID = 300
USUAL_LIFE = timedelta(hours=24)
"""A message without an end: CAP 1.2 (3.2.2, expires) leaves it to each reader; working value."""
UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters, marks that turn the direction of text, and halves of characters."""

# NWS Instruction 10-1703, table of phenomena; names change more often than codes.
PHENOMENA = {
    **dict.fromkeys(("EH", "HT", "XH"), WarningKind.HEAT),
    **dict.fromkeys(("CW", "EC", "FR", "FZ", "HZ", "WC"), WarningKind.FREEZE),
    **dict.fromkeys(
        ("BZ", "DS", "EW", "HI", "HU", "HW", "IS", "LW", "SQ", "SV", "TI", "TO", "TR", "TY", "WI", "WS"),
        WarningKind.STORM,
    ),
    **dict.fromkeys(("AF", "AS", "DU", "SM"), WarningKind.AIR),
}
VTEC = re.compile(r"/([A-Z])\.([A-Z]{3})\.[A-Z0-9]{4}\.([A-Z]{2})\.[A-Z]\.\d{4}\.")
"""NWS Instruction 10-1703: product class, action, office, phenomenon, significance, number."""
ENDED = frozenset({"CAN", "EXP", "UPG"})
"""Actions of an event that is cancelled, over, or replaced by a stronger warning."""
TEST = "T"
NAMES = (
    (WarningKind.HEAT, r"\bheat|high[ -]temperature|\bcalor\b|altas temperaturas"),
    (
        WarningKind.FREEZE,
        r"\bfrost|\bfreeze\b|\bcold\b|wind chill|low[ -]temperature|\bhelada|\bfr[ií]o\b|bajas temperaturas",
    ),
    (
        WarningKind.STORM,
        r"storm|tornado|hurricane|typhoon|cyclone|\bwinds?\b|\bgale\b|blizzard|\bhail\b|lightning"
        r"|tormenta|viento|granizo|hurac[aá]n|cicl[oó]n",
    ),
    (
        WarningKind.AIR,
        r"air quality|air stagnation|\bsmoke\b|\bozone\b|\bdust\b|ashfall"
        r"|calidad del aire|\bhumo\b|\bpolvo\b",
    ),
)
"""For alerts without a code. The first that fits: a wind chill is cold, and a dust storm a storm."""


def line(value: object) -> str:
    """Return a text on one line; empty if it is none."""
    return _short(" ".join(_seen(value).split()), LONGEST_LINE)


def text(value: object) -> str:
    """Return a text with its own lines; empty if it is none."""
    return _short("\n".join(part.rstrip() for part in _seen(value).strip().split("\n")), LONGEST_TEXT)


def _seen(value: object) -> str:
    # Shown in terminals and pages: what moves a cursor or hides letters is no part of a warning's words.
    return UNSEEN.sub("", value.replace("\r\n", "\n")) if isinstance(value, str) else ""


def _short(value: str, longest: int) -> str:
    return value if len(value) <= longest else f"{value[: longest - 1]}…"


def identity(value: object) -> str:
    """Return an id; empty if it cannot be one: CAP 1.2 allows no spaces, commas or brackets in it."""
    found = _seen(value).strip()
    return found if len(found) <= LONGEST_ID and not re.search(r"[\s,<&]", found) else ""


def moment(value: object) -> datetime | None:
    """Return a moment in UTC; none for what is no moment, or has no zone."""
    try:
        found = datetime.fromisoformat(value.strip()) if isinstance(value, str) else None
        return None if found is None or found.tzinfo is None else found.astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def link(value: object) -> str:
    """Return a web address that is safe to be followed; empty if it is none."""
    found = value.strip() if isinstance(value, str) else ""
    if len(found) > LONGEST_LINE or UNSEEN.search(found) or re.search(r"[\s\"'<>\\]", found):
        return ""
    try:
        parts = urlsplit(found)
        return found if parts.scheme in ("http", "https") and parts.hostname else ""
    except ValueError:
        return ""


def severity(value: object) -> Severity:
    """Return a severity; unknown where the word is none of CAP's."""
    word = line(value).casefold()
    return next((known for known in Severity if known.value == word), Severity.UNKNOWN)


def is_test(vtec: Iterable[str]) -> bool:
    """Whether event codes mark a test product."""
    return any(match[1] == TEST for match in _events(vtec))


def is_ended(vtec: Iterable[str]) -> bool:
    """Whether all events that are coded have ended."""
    actions = {match[2] for match in _events(vtec)}
    return bool(actions) and actions <= ENDED


def kind_of(event: str, vtec: Iterable[str] = (), said: str = "") -> WarningKind:
    """Tell what a warning is about: by its code, else by its name.

    Parameters
    ----------
    event : str
        Name of the event.
    vtec : Iterable[str]
        Event codes of the US National Weather Service, if any.
    said : str
        What else names the kind of event, such as MeteoAlarm's awareness type.

    Returns
    -------
    WarningKind
        ``OTHER`` for floods, fires and whatever has a name not known here.
    """
    coded = [PHENOMENA.get(match[3], WarningKind.OTHER) for match in _events(vtec)]
    if coded:
        return next((kind for kind in coded if kind is not WarningKind.OTHER), WarningKind.OTHER)
    named = f"{said} {event}".casefold()
    return next((kind for kind, words in NAMES if re.search(words, named)), WarningKind.OTHER)


def _events(vtec: Iterable[str]) -> list[re.Match[str]]:
    return [match for code in vtec for match in VTEC.finditer(code)]
