"""What people read, in their language: catalogues as they are translated, compiled when first asked for.

What stands in the code is English, and is its own key. To add a language:

1. Name it in ``LANGUAGES`` by its ISO 639-1 code. Babel knows its days, months and decimal mark.
2. Copy ``locale/es/LC_MESSAGES/mowalert.po`` to the new code's folder, write its ``Language`` and
   ``Plural-Forms`` into the head, and translate every entry. Whatever stands in braces or in ``%(…)s``
   is filled in and stays as it is.
3. Say its drawings in ``web/drawing/words.py`` and the words of its short replies in ``domain/replies.py``.
4. Run ``tests/channels/test_languages.py`` for it: that names what is missing, what nobody asks for any
   more, and short messages that need a second part.

A new sentence in the code goes through ``gettext`` or ``ngettext``, or stands in a table as ``N_``.
"""

from functools import cache
from io import BytesIO
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations

LANGUAGES = {"en": "English", "es": "Español"}
"""Languages by code, each by its own name; what is written in the code is English."""
FOLDER = Path(__file__).parent / "locale"


def N_(message: str) -> str:  # noqa: N802 - the name by which tools find what is translated later
    """Return a message as it is: it is translated when it is said."""
    return message


def spoken(language: str) -> str:
    """Return a language if it is one of ours, else English."""
    return language if language in LANGUAGES else "en"


@cache
def translations(language: str) -> NullTranslations:
    """Return the words of a language; English for one that is not known.

    Parameters
    ----------
    language : str
        A code of ``LANGUAGES``.

    Returns
    -------
    NullTranslations
        With ``gettext`` and ``ngettext``.
    """
    path = FOLDER / language / "LC_MESSAGES" / "mowalert.po"
    if language not in LANGUAGES or not path.exists():
        return NullTranslations()
    compiled = BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file, locale=language))
    compiled.seek(0)
    return Translations(compiled)


def best_language(accepted: str) -> str:
    """Return the language of ours that a browser's ``Accept-Language`` names first."""
    for part in accepted[:200].split(","):
        code = part.partition(";")[0].strip().casefold().partition("-")[0]
        if code in LANGUAGES:
            return code
    return "en"


def sentence(text: str) -> str:
    """Begin with a capital letter."""
    return text[:1].upper() + text[1:]
