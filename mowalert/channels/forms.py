"""Forms: templates rendered once for each shape of their words, then filled in for message after message.

Most messages differ in words only: a name, a day, a height. A template is therefore given gaps in place of
the words, once; what comes out is a form, and a message is the form with its words in the gaps. Who writes
templates need know two things: they may ask of a text only whether it is there, and may not change it. What
people typed is never read as part of a form: it is put, escaped, where the gaps were.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import count
from typing import NamedTuple, Protocol, TypeAlias

from markupsafe import Markup, escape

from mowalert.channels.rendering import BEFORE_UNIT, template

Word: TypeAlias = "str | bool | tuple[Word, ...]"
"""A text, empty where nothing is said; whether something is so; or several words."""
MOST_FORMS, MOST_WORDS = 1024, 4096
THERE = "\ue000"
"""Stands for any text in a shape. Of the code points that belong to nobody; no template holds it."""
GAP = re.compile(f"{THERE}([0-9]+){THERE}")


class Words(Protocol):
    """A named tuple whose values are words; a template knows them by their names."""

    @property
    def _fields(self) -> tuple[str, ...]: ...

    def __iter__(self) -> Iterator[Word]: ...


class Both(NamedTuple):
    """The same in plain text and, escaped, in HTML; a template prints what it is made of itself."""

    text: str
    html: str

    def __str__(self) -> str:
        return self.text

    def __html__(self) -> str:
        return self.html


@dataclass(frozen=True, slots=True)
class Form:
    """What a template makes of a shape: texts with gaps between them, and which word goes into each."""

    parts: list[str]
    gaps: list[int]

    def filled(self, words: list[str]) -> str:
        """Put words into the gaps, in their order."""
        parts = self.parts.copy()
        parts[1::2] = words
        return "".join(parts)


def fill(name: str, language: str, words: Words) -> Both:
    """Say some words in the two templates of a name.

    Parameters
    ----------
    name : str
        Of the templates, without ``.txt`` and ``.html``.
    language : str
        A code of ``LANGUAGES``.
    words : Words
        What they tell.

    Returns
    -------
    Both
        The same as the templates would make of the words themselves.
    """
    said: list[str] = []
    shape = _taken_apart(words, said)
    plain, marked_up = _forms(name, language, words._fields, shape)
    return Both(
        plain.filled([said[gap] for gap in plain.gaps]),
        marked_up.filled([_in_html(said[gap]) for gap in marked_up.gaps]),
    )


def _taken_apart(words: Words | tuple[Word, ...], said: list[str]) -> tuple[Word, ...]:
    """Collect the texts there are; what is left is the shape of the words."""
    shape: list[Word] = []
    for word in words:
        if isinstance(word, str):
            if word:
                said.append(word)
            shape.append(THERE if word else "")
        else:
            shape.append(_taken_apart(word, said) if isinstance(word, tuple) else word)
    return tuple(shape)


def _in_html(text: str) -> str:
    return text if isinstance(text, Markup) else _escaped(text)


@lru_cache(maxsize=MOST_WORDS)
def _escaped(text: str) -> str:
    return BEFORE_UNIT.sub("\u00a0", escape(text))


@lru_cache(maxsize=MOST_FORMS)
def _forms(name: str, language: str, fields: Sequence[str], shape: tuple[Word, ...]) -> tuple[Form, Form]:
    gaps = dict(zip(fields, _numbered(shape, count()), strict=True))
    plain, marked_up = (template(f"{name}.{kind}", language) for kind in ("txt", "html"))
    return _form(plain.render(gaps)), _form(marked_up.render(gaps))


def _form(rendered: str) -> Form:
    parts = GAP.split(rendered)
    return Form(parts, [int(number) for number in parts[1::2]])


def _numbered(shape: tuple[Word, ...], numbers: Iterator[int]) -> tuple[Word, ...]:
    return tuple(
        _numbered(word, numbers)
        if isinstance(word, tuple)
        else f"{THERE}{next(numbers)}{THERE}"
        if word == THERE
        else word
        for word in shape
    )
