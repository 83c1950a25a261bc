"""Texts that must fit: what a label keeps of one, and how wide it will be."""

import unicodedata

LETTERS = 12.0
"""Height of a drawing's letters."""
MOST_LETTERS = 28
"""Longest text taken from outside."""


def plain(text: str) -> str:
    """Keep what a label needs of a text from outside."""
    return _shortened(legal(text[: 4 * MOST_LETTERS]), MOST_LETTERS)


def legal(text: str) -> str:
    """Keep letters, marks, digits, signs and single spaces.

    Control characters cannot stand in XML at all, and marks of direction could turn a label round.
    """
    return " ".join("".join(" " if unicodedata.category(c)[0] in "ZC" else c for c in text).split())


def _shortened(text: str, letters: int) -> str:
    return text if len(text) <= letters else text[: letters - 1].rstrip() + "…"


def fitted(text: str, width: float) -> str:
    """Shorten a text to the width it has."""
    letters = len(text)
    while letters > 1 and text_width(_shortened(text, letters)) > width:
        letters -= 1
    return _shortened(text, letters)


def text_width(text: str) -> float:
    """Guess, on the wide side, how wide a serif text will be."""
    return LETTERS * sum(_letter_width(c) for c in text)


def _letter_width(letter: str) -> float:
    """Guess a letter's width in parts of its height."""
    if letter in " .,:;'|!()iljtfrI":
        return 0.37
    if letter in "mwMW%@" or unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    return {"Ll": 0.56, "Lu": 0.74, "Nd": 0.62, "Mn": 0.0}.get(unicodedata.category(letter), 0.9)
