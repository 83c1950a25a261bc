"""What is said in other languages: all of it, with the same facts, and short messages of one part."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from babel.dates import get_day_names, get_month_names
from babel.messages.catalog import Catalog, Message
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_dir
from babel.messages.pofile import read_po
from builders import NOW, THURSDAY, TURF, a_digest, a_keeper, a_notice
from digests import DIGESTS, HOLDS, MAY, MOW, MUST, OVERGROWN, RELEASE, SAID, Words, a_hold, a_plan
from jinja2 import Environment

from mowalert.channels.gsm import sms_size
from mowalert.channels.letters import ServiceLetters
from mowalert.channels.messages import render_email, render_sms
from mowalert.channels.wording import GRASSES, wording_in
from mowalert.domain.notices import (
    CrewHeat,
    DayPart,
    DayReason,
    Digest,
    HoldFacts,
    RenderedEmail,
    WeatherStamp,
)
from mowalert.domain.words import Clippings, DigestKind, HoldReason, KeeperKind, NoticeKind, Units
from mowalert.languages import FOLDER, LANGUAGES, spoken

OTHERS = [language for language in LANGUAGES if language != "en"]
PACKAGES = ("channels", "service", "web")
"""Where people are spoken to in their language; the command line is English."""
METHODS = (("**/templates/**", "jinja2"), ("**.py", "python"))
# A template that cannot be read would else be passed over.
OPTIONS = {"**/templates/**": {"silent": "false"}}
KEYWORDS = {**DEFAULT_KEYWORDS, "say": None}
"""The usual names of gettext, and the one letters give it."""
FILLED_IN = re.compile(r"\{\w*\}|%\(\w+\)s|</?\w+[^>]*>|%%")
"""What a translation keeps as it is."""
PLACE = FOLDER.parent

UNSURE = replace(MOW, could_be_from=date(2026, 5, 8), last_cut_assumed=True, guide=SAID)
STAGED = a_notice(NoticeKind.RELEASE, plan=a_plan(), cut_to_mm=100.0, removed_fraction=1 / 3)
OUTGROWN = replace(OVERGROWN, plan=replace(a_plan(), reaches_chosen=False, keepable_mm=88.0), third=0.25)
CREW = CrewHeat(THURSDAY, 96.0, 15, True, 6, 10)
TOLD = (("t_max_c", 35.0), ("water_stress", 0.7), ("mean_10_days_c", 3.2), ("rain_48_h_mm", 31.4))
EVERY: dict[str, Digest] = {
    **DIGESTS,
    **{f"because {why}": a_digest(replace(MOW, day_reason=why)) for why in DayReason},
    **{f"in the {part}": a_digest(replace(MOW, best_part=part)) for part in DayPart},
    **{f"clippings {way}": a_digest(replace(MOW, clippings=way)) for way in Clippings},
    **{f"learned {pace}": a_digest(replace(MOW, learned=pace)) for pace in (0.8, 1.0, 1.3)},
    **{f"hold {why}": a_digest(a_hold(HoldFacts(why, THURSDAY, TOLD))) for why in HoldReason},
    **{f"hold {number}": a_digest(a_hold(hold, height_cap_mm=203.2)) for number, hold in enumerate(HOLDS)},
    **{f"end of {why}": a_digest(replace(RELEASE, reason=why, best_on=None)) for why in HoldReason},
    "unsure": a_digest(UNSURE, first_message=True),
    "outgrown": a_digest(OUTGROWN),
    "staged after a hold": a_digest(STAGED),
    "evening after a hold": a_digest(replace(RELEASE, best_part=DayPart.EVENING)),
    "weather from everywhere": a_digest(
        MOW, weather=WeatherStamp(("open_meteo", "nws", "met_norway", "demo"), NOW, True)
    ),
    "never any weather": replace(DIGESTS["no weather"], weather=WeatherStamp((), None, False)),
    "crews in heat": replace(DIGESTS["morning list"], crew_heat=CREW),
    "a long list": a_digest(
        *[replace(MUST, clippings=Clippings.COLLECT), OVERGROWN, MOW, MAY, MAY],
        *[a_hold(turf_class=""), a_hold(turf_class=""), STAGED, STAGED],
        kind=DigestKind.MORNING_LIST,
        keeper_kind=KeeperKind.COMPANY,
    ),
    "nothing on the list": a_digest(
        a_notice(NoticeKind.NOTHING_DUE), kind=DigestKind.MORNING_LIST, keeper_kind=KeeperKind.COMPANY
    ),
}


def all_of(package: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Where a package says what: one message, or singular and plural."""
    for name, line, message, _, _ in extract_from_dir(PLACE / package, METHODS, OPTIONS, keywords=KEYWORDS):
        forms = (message,) if isinstance(message, str) else tuple(filter(None, message))
        yield f"{package}/{name}:{line}", forms


@cache
def messages(package: str) -> dict[tuple[str, ...], str]:
    return {forms: place for place, forms in all_of(package)}


@cache
def catalogue(language: str) -> Catalog:
    with (FOLDER / language / "LC_MESSAGES" / "mowalert.po").open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)


def entries(language: str) -> list[Message]:
    return [entry for entry in catalogue(language) if entry.id]


def forms_of(said: str | tuple[str, ...] | list[str]) -> tuple[str, ...]:
    return (said,) if isinstance(said, str) else tuple(said)


@pytest.mark.parametrize("package", PACKAGES)
@pytest.mark.parametrize("language", OTHERS)
def test_everything_that_is_said_is_translated(package: str, language: str) -> None:
    translated = {
        forms_of(entry.id)
        for entry in entries(language)
        if all(forms_of(entry.string)) and len(forms_of(entry.string)) in (1, catalogue(language).num_plurals)
    }
    assert {forms: place for forms, place in messages(package).items() if forms not in translated} == {}


@pytest.mark.parametrize("language", OTHERS)
def test_no_translation_is_kept_that_nobody_asks_for(language: str) -> None:
    asked = {forms for package in PACKAGES for forms in messages(package)}
    assert [entry.id for entry in entries(language) if forms_of(entry.id) not in asked] == []
    assert not catalogue(language).obsolete


@pytest.mark.parametrize("language", OTHERS)
def test_no_translation_is_a_guess(language: str) -> None:
    assert [entry.id for entry in entries(language) if entry.fuzzy] == []


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_has_every_place_to_fill_in_and_no_other(language: str) -> None:
    for entry in entries(language):
        wanted = Counter(FILLED_IN.findall(forms_of(entry.id)[-1]))
        for form in forms_of(entry.string):
            assert Counter(FILLED_IN.findall(form)) == wanted, entry.id


def test_templates_hold_no_words_of_their_own() -> None:
    for template in (PLACE / "channels" / "templates").iterdir():
        tokens = Environment(autoescape=True).lex(template.read_text(encoding="utf-8"))
        bare = " ".join(text for _, kind, text in tokens if kind == "data")
        seen = str(Words(bare)) if template.suffix == ".html" else bare
        assert re.findall(r"[^\W\d_]+", seen) == [], template.name


def test_every_grass_of_ours_is_known_to_translators() -> None:
    assert set(GRASSES) == {grass.name for grass in TURF.grasses.values()}


def mail_in(language: str, digest: Digest, units: Units) -> RenderedEmail:
    to = replace(digest.to, language=language, units=units)
    return render_email(replace(digest, to=to), service_name="Turf Line", contact="help@example.org")


def sms_in(language: str, digest: Digest, units: Units) -> str:
    to = replace(digest.to, language=language, units=units)
    return render_sms(replace(digest, to=to), service_name="Turf Line")


def bodies(mail: RenderedEmail) -> tuple[str, str, str]:
    return mail.subject, mail.text, str(Words(mail.html))


@cache
def english() -> list[str]:
    """Pieces of what we say in English that are long enough to be nothing else."""
    said = [form for forms in messages("channels") for form in forms]
    pieces = {piece.strip() for form in said for piece in FILLED_IN.split(form)}
    return [piece.casefold() for piece in pieces if len(piece) > 12]


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_in_a_message(language: str, name: str, units: Units) -> None:
    mail = mail_in(language, EVERY[name], units)
    for body in (*bodies(mail), sms_in(language, EVERY[name], units)):
        assert [piece for piece in english() if piece in body.casefold()] == []
    assert f'<html lang="{language}">' in mail.html


def words(text: str) -> list[str]:
    return re.findall(r"[^\W\d_]+", text.casefold())


NAMES = frozenset(
    words(
        "Home front back Turf Line Elm Lane Yard River Oval Hill Green Ring Road sports lawn verge"
        " Hill country help example org ground nesting birds Kentucky NOAA National Weather Service"
        " Open Meteo com CC BY MET Norway NLOD UTC mm C no a plan local"
    )
)
"""Names, what was typed in, and words that are the same in two languages."""


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("language", OTHERS)
def test_no_word_but_a_name_is_said_in_two_languages(language: str, name: str) -> None:
    said, translated = (
        {word for body in bodies(mail_in(code, EVERY[name], Units.METRIC)) for word in words(body)}
        for code in ("en", language)
    )
    assert said & translated - NAMES == set()


def figures(text: str) -> Counter[str]:
    """Every number with its unit, whatever the decimal mark and the word for inches."""
    found = re.findall(r"([\d¼½¾]+(?:[.,:]\d+)*)(?: (mm|in|pulgadas?|%|°[CF])(?!\w))?", text)
    return Counter(
        f"{number.replace(',', '.')} {'in' if unit[:4] == 'pulg' else unit}" for number, unit in found
    )


def days(text: str, language: str) -> Counter[tuple[int, ...]]:
    """Every weekday, and every date as month and day."""
    weekdays = {name: number for number, name in get_day_names("wide", locale=language).items()}
    months = {name: number for number, name in get_month_names("wide", locale=language).items()}
    named = rf"\b({'|'.join(weekdays)})\b"
    in_full = rf"{named},? (?:(\d+) (?:de )?({'|'.join(months)})|({'|'.join(months)}) (\d+))"
    dates = (
        (months[before or after], int(first or last))
        for _, first, after, before, last in re.findall(in_full, text)
    )
    return Counter([*((weekdays[name],) for name in re.findall(named, text)), *dates])


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("language", OTHERS)
def test_numbers_heights_and_dates_are_the_same_in_every_language(
    language: str, name: str, units: Units
) -> None:
    said = bodies(mail_in("en", EVERY[name], units))
    translated = bodies(mail_in(language, EVERY[name], units))
    for ours, theirs in zip(said, translated, strict=True):
        assert figures(ours) == figures(theirs)
        assert days(ours, "en") == days(theirs, language)
    short = sms_in("en", EVERY[name], units), sms_in(language, EVERY[name], units)
    assert figures(short[0]) == figures(short[1])


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("language", OTHERS)
def test_a_short_message_is_one_part_and_whole(language: str, name: str, units: Units) -> None:
    for first in (False, True):
        text = sms_in(language, replace(EVERY[name], first_message=first), units)
        assert (sms_size(text).parts, sms_size(text).encoding) == (1, "GSM-7")
        assert "..." not in text
        assert ("STOP" in text) is first


@pytest.mark.parametrize("language", OTHERS)
def test_a_phone_is_asked_in_one_part(language: str) -> None:
    letters = ServiceLetters("The lawn care of us", "example.org")
    asked = letters.confirm_phone(a_keeper(email="", phone="+34600000000", language=language)).text
    assert sms_size(asked).parts == 1
    assert "STOP" in asked


def test_spanish_has_its_dates_its_comma_and_its_inches() -> None:
    say = wording_in("es")
    assert say.day(date(2026, 5, 9), Units.US) == "sábado 9 de mayo"
    assert say.day(date(2026, 5, 9), Units.METRIC) == "sábado 9 de mayo"
    assert say.rain(31.0, Units.US) == "1,2 pulgadas"
    assert say.rain(31.0, Units.METRIC) == "31 mm"
    assert say.number(3.5, digits=1) == "3,5"
    assert [say.height(mm, Units.US) for mm in (12.7, 25.4, 38.1)] == [
        "½ pulgada",
        "1 pulgada",
        "1½ pulgadas",
    ]
    assert say.names(["norte", "sur", "este"]) == "norte, sur y este"
    assert say.names(["norte", "sur", "este"], most=2) == "norte, sur y 1 más"


def test_a_subject_keeps_its_accents_where_a_short_message_cannot() -> None:
    assert mail_in("es", DIGESTS["mow this weekend"], Units.METRIC).subject == "Corte el sábado a 77 mm"
    assert "corte el sabado a 77 mm" in sms_in("es", DIGESTS["mow this weekend"], Units.METRIC)


def test_an_adviser_is_quoted_in_the_keepers_language() -> None:
    text = mail_in("es", EVERY["unsure"], Units.METRIC).text
    assert "¡Afilada!" in text
    assert "Sharp!" not in text
    assert "Para pasto azul de Kentucky, la guía regional recomienda ahora de 80 mm a 100 mm." in text


def test_a_language_that_is_not_ours_is_english_all_through() -> None:
    digest = EVERY["unsure"]
    assert spoken("tlh") == "en"
    assert mail_in("tlh", digest, Units.US) == mail_in("en", digest, Units.US)
