"""The SMS alphabet (3GPP TS 23.038) and how many parts a text takes (3GPP TS 23.040)."""

import unicodedata
from dataclasses import dataclass

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENDED = frozenset("^{}\\[~]|€\f")
ONE_PART_7BIT, PART_7BIT = 160, 153
ONE_PART_UCS2, PART_UCS2 = 70, 67
PLAIN = str.maketrans(
    {
        "“": '"', "”": '"', "„": '"', "«": '"', "»": '"', "‘": "'", "’": "'", "`": "'", "´": "'",
        "–": "-", "—": "-", "‑": "-", "−": "-", "…": "...", "°": "", "·": "-", "•": "-",
        "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "×": "x", "\u00a0": " ", "\u202f": " ", "²": "2",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SmsSize:
    """How a text travels: its encoding, its length in that encoding's units, its parts."""

    encoding: str
    units: int
    parts: int


def sms_size(text: str) -> SmsSize:
    """Count the parts of a text; an escape or a surrogate pair is never split over two.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    SmsSize
        GSM-7 where every character is in the alphabet, else UCS-2.
    """
    if BASIC.issuperset(text):
        return SmsSize("GSM-7", len(text), _parts([1] * len(text), ONE_PART_7BIT, PART_7BIT))
    if all(letter in BASIC or letter in EXTENDED for letter in text):
        widths = [2 if letter in EXTENDED else 1 for letter in text]
        return SmsSize("GSM-7", sum(widths), _parts(widths, ONE_PART_7BIT, PART_7BIT))
    widths = [2 if ord(letter) > 0xFFFF else 1 for letter in text]
    return SmsSize("UCS-2", sum(widths), _parts(widths, ONE_PART_UCS2, PART_UCS2))


def _parts(widths: list[int], one: int, each: int) -> int:
    if sum(widths) <= one:
        return 1
    parts, filled = 1, 0
    for width in widths:
        if filled + width > each:
            parts, filled = parts + 1, 0
        filled += width
    return parts


def plain(text: str) -> str:
    """Write a text in the basic alphabet: one wrong quotation mark turns 160 characters into 70."""
    plainer = text.translate(PLAIN)
    return plainer if BASIC.issuperset(plainer) else "".join(map(_plain_letter, plainer))


def _plain_letter(letter: str) -> str:
    if letter in BASIC:
        return letter
    base = unicodedata.normalize("NFKD", letter)
    kept = "".join(part for part in base if part in BASIC)
    return kept if kept else ("" if unicodedata.category(letter).startswith(("M", "C")) else "?")
