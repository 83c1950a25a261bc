"""What people read, in their language: catalogues as they are translated, compiled when first asked for."""

from functools import cache
from io import BytesIO
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations

LANGUAGES = {"en": "English", "es": "Español"}
"""Languages by code, each by its own name; what is written in the code is English."""
FOLDER = Path(__file__).parent / "locale"


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
