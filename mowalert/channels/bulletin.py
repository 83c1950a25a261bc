"""A region's bulletin in words: for its page, for readers of its feed, and to be sent to a mailing list."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from babel.dates import format_interval

from mowalert.channels.wording import Wording, wording_in
from mowalert.domain.bulletin import (
    MOST_DAYS,
    WEEK_D,
    Bulletin,
    CutEvery,
    DatesNow,
    GrassWeek,
    HeldShare,
    LessonReason,
    Tempo,
)
from mowalert.domain.thirds import THIRD
from mowalert.domain.units import inches_from_mm
from mowalert.domain.words import Sun, Units, Watering
from mowalert.languages import N_, sentence

HEADLINES = {
    Tempo.FAST: N_("{grass} grows fast this week, about {growth} a day: kept at {height}, it wants {cut}."),
    Tempo.STEADY: N_("{grass} grows steadily, about {growth} a day: kept at {height}, it wants {cut}."),
    Tempo.SLOW: N_("{grass} grows slowly, about {growth} a day: kept at {height}, it wants {cut}."),
}
RARELY = N_("{grass} grows about {growth} a day: kept at {height}, it needs no cut for over four weeks.")
RESTING = N_("{grass} hardly grows this week: nothing needs cutting.")
CUTS_OF = N_(
    "The longest a lawn may wait from cut to cut at this week's growth, at the guide's lowest, usual and "
    "highest height for the season."
)
NO_CUTS = N_("At this week's growth no lawn needs a cut for over four weeks.")
KEPT_MM = 50.0
"""Height whose growth a stand's curve tells."""
HELD = N_("Do not mow most of the turf here this week: {hold}.")
LESSONS = {
    LessonReason.DRY: N_(
        "In drought and heat, tall grass shades its soil and reaches deeper water: leave it long until "
        "growth is back."
    ),
    LessonReason.BEFORE_SUMMER: N_(
        "Raise the mower a notch before summer: the taller a lawn is kept, the deeper it roots and the "
        "longer it stays green in a dry week."
    ),
    LessonReason.FAST: N_(
        "While grass grows this fast no calendar helps: cut before a cut would take more than {share} of the "
        "blade, even if that is twice in a week."
    ),
    LessonReason.SPRING: N_(
        "Begin the season with cuts that take no more than {share} of the blade: what stays feeds the roots."
    ),
    LessonReason.AUTUMN: N_(
        "Leave short clippings where they fall: they sink in and feed the lawn through autumn."
    ),
    LessonReason.STEADY: N_(
        "The clippings of a timely cut are short: they sink in between the blades and feed the lawn. "
        "Leave them."
    ),
    LessonReason.REST: N_(
        "While the grass rests there is time to choose the next season's height: the taller a lawn is kept, "
        "the deeper it roots."
    ),
}
WATERED = {Watering.NONE: N_("unwatered {grass}"), Watering.REGULAR: N_("watered {grass}")}
SHADED = {Sun.PART: N_("{grass} in half a day's sun"), Sun.SHADE: N_("{grass} in shade")}


@dataclass(frozen=True, slots=True)
class CutText:
    """A height, and how long a lawn kept at it may wait: bare days, and the same with its word."""

    height: str
    days: str
    interval: str


@dataclass(frozen=True, slots=True)
class GrassText:
    """A row of the table: growth a day and in the week, bare numbers; none where it was not seen."""

    name: str
    before_day: str
    before_week: str
    day: str
    week: str
    by_guide: bool
    cuts: tuple[CutText, ...]


@dataclass(frozen=True, slots=True)
class BulletinText:
    """Everything a bulletin says; ``growth_of`` tells what the bare numbers are."""

    title: str
    week: str
    dates: str
    headline: str
    growth_of: str
    grasses: tuple[GrassText, ...]
    any_cut: bool
    cuts_of: str
    holds_of: str
    held: tuple[str, ...]
    instead: str
    kept_off: tuple[str, ...]
    lesson: str
    guide: str
    sources: tuple[str, ...]
    weather: str


def bulletin_text(bulletin: Bulletin, *, language: str, units: Units) -> BulletinText:
    """Put a bulletin into words.

    Parameters
    ----------
    bulletin : Bulletin
        Its facts.
    language : str
        A code of ``LANGUAGES``.
    units : Units
        The reader's.

    Returns
    -------
    BulletinText
        Plain text, to be escaped where it is shown.
    """
    say = wording_in(language)
    year, week, _ = bulletin.week_on.isocalendar()
    main = max(bulletin.held, key=lambda one: one.share, default=None)
    guide = say.gettext("Region guide: %(title)s, version %(version)s")
    any_cut = any(cut.days is not None for grass in bulletin.grasses for cut in grass.cuts)
    weather = say.gettext("Weather of %(moment)s UTC.")
    return BulletinText(
        title=bulletin.title,
        week=say.gettext("Week {week} of {year}").format(week=week, year=year),
        dates=_span_said(bulletin.week_on, bulletin.last_on, say, units, year=True),
        headline=_headline(bulletin, say, units),
        growth_of=_growth_of(say, units),
        grasses=tuple(_row(grass, say, units) for grass in bulletin.grasses),
        any_cut=any_cut,
        cuts_of=say.gettext(CUTS_OF if any_cut else NO_CUTS),
        holds_of=say.day(bulletin.holds_on, units),
        held=tuple(_held(held, say) for held in bulletin.held),
        instead="" if main is None else say.instead(main.reason),
        kept_off=tuple(_kept_off(dates, say, units) for dates in bulletin.dates),
        lesson=say.gettext(LESSONS[bulletin.lesson_reason]).format(share=_share(bulletin.third, say)),
        guide=guide % {"title": bulletin.title, "version": bulletin.version},
        sources=tuple(say.attribution(source) for source in bulletin.sources),
        weather=weather % {"moment": f"{bulletin.fetched_at:%Y-%m-%d %H:%M}"},
    )


def _headline(bulletin: Bulletin, say: Wording, units: Units) -> str:
    """Say the week in one sentence: a hold on most of the turf, or how its most widespread grass grows."""
    if bulletin.hold is not None:
        return say.gettext(HELD).format(hold=say.hold_name(bulletin.hold))
    grass = bulletin.grasses[0]
    usual = grass.cuts[len(grass.cuts) // 2]
    return say.gettext(_growing(grass.tempo, usual)).format(
        grass=grass_name(grass, say),
        growth=growth_said(grass.week_mm / WEEK_D, say, units, daily=True),
        height=say.height(usual.height_mm, units),
        cut=_cut_every(usual.days, say),
    )


def _growing(tempo: Tempo, usual: CutEvery) -> str:
    if tempo is Tempo.REST:
        return RESTING
    return RARELY if usual.days is None else HEADLINES[tempo]


def _span_said(first: date, last: date, say: Wording, units: Units, *, year: bool = False) -> str:
    """Say some days by their first and last, as a calendar would."""
    locale = {"en": "en_US" if units is Units.US else "en_GB"}.get(say.language, say.language)
    return str(format_interval(first, last, "yMMMd" if year else "MMMd", locale=locale))


def in_plain_lines(text: BulletinText, said: str, *, language: str) -> Iterator[str]:
    """Say a bulletin without a page: its title first, one thought a line, an empty line between parts.

    Parameters
    ----------
    text : BulletinText
        What it says.
    said : str
        What the adviser added.
    language : str
        That of the text.

    Yields
    ------
    str
        Lines of plain text.
    """
    gettext = wording_in(language).gettext
    yield f"{text.title}: {text.week}, {text.dates}"
    yield from ("", text.headline)
    if said:
        yield from ("", said)
    yield from ("", text.growth_of)
    yield from (growth_line(grass, language=language) for grass in text.grasses)
    yield from ("", text.cuts_of)
    yield from (cuts_line(grass) for grass in text.grasses if text.any_cut)
    yield from ("", gettext("Holds of {day}").format(day=text.holds_of))
    yield from (*(text.held or (gettext("No hold is in force."),)), *filter(None, [text.instead]))
    yield from text.kept_off
    yield from ("", text.lesson, "", text.guide, *text.sources, text.weather)


def growth_line(grass: GrassText, *, language: str) -> str:
    """Say a row of the growth table as a sentence."""
    gettext = wording_in(language).gettext
    line = gettext("{grass}: this week {week}, {day} a day")
    line = line.format(grass=grass.name, week=grass.week, day=grass.day)
    if not grass.before_week:
        return f"{line}."
    before = gettext("the week before {week}").format(week=grass.before_week)
    return f"{line}; {before}."


def cuts_line(grass: GrassText) -> str:
    """Say a row of the table of cuts as a sentence."""
    cuts = "; ".join(f"{cut.height}: {cut.interval}" for cut in grass.cuts)
    return f"{grass.name}, {cuts}."


def _row(grass: GrassWeek, say: Wording, units: Units) -> GrassText:
    before = grass.before_mm
    return GrassText(
        name=grass_name(grass, say),
        before_day="" if before is None else growth_number(before / WEEK_D, say, units, daily=True),
        before_week="" if before is None else growth_number(before, say, units),
        day=growth_number(grass.week_mm / WEEK_D, say, units, daily=True),
        week=growth_number(grass.week_mm, say, units),
        by_guide=grass.by_guide,
        cuts=tuple(_cut(cut, say, units) for cut in grass.cuts),
    )


def grass_name(grass: GrassWeek, say: Wording) -> str:
    """Name a row: the grass, and how it is watered or shaded where that matters."""
    name = say.grass(grass.name)
    if grass.sun in SHADED:
        name = say.gettext(SHADED[grass.sun]).format(grass=name)
    if grass.watering is not None:
        name = say.gettext(WATERED[grass.watering]).format(grass=name)
    return sentence(name)


def _cut(cut: CutEvery, say: Wording, units: Units) -> CutText:
    height = say.height(cut.height_mm, units)
    if cut.days is None:
        return CutText(height, f"> {MOST_DAYS}", say.gettext("over four weeks"))
    if cut.days == 0:
        return CutText(height, "< 1", say.gettext("under a day"))
    days = say.ngettext("{count} day", "{count} days", cut.days).format(count=cut.days)
    return CutText(height, f"{cut.days}", days)


def _cut_every(days: int | None, say: Wording) -> str:
    # A grass that asks for two cuts a day is asked for one.
    whole = max(1, days or 1)
    return say.ngettext("a cut every day", "a cut every {count} days", whole).format(count=whole)


def _held(held: HeldShare, say: Wording) -> str:
    name = say.hold_name(held.reason)
    said = say.gettext("{hold}: {share} of the turf").format(hold=name, share=say.percent(held.share))
    return sentence(said)


def _kept_off(dates: DatesNow, say: Wording, units: Units) -> str:
    """Say days that the guide keeps free, for which turf, and why in the guide's words."""
    reason, span = say.hold_name(dates.reason), _span_said(dates.first_on, dates.last_on, say, units)
    uses = ", ".join(use.replace("_", " ") for use in dates.uses) or say.gettext("all turf")
    return f"{sentence(reason)}, {span}, {uses}: {dates.note}"


def _share(third: float, say: Wording) -> str:
    if abs(third - THIRD) < 0.005:
        return say.gettext("a third")
    return say.gettext("{percent}").format(percent=say.percent(third))


def growth_said(mm: float, say: Wording, units: Units, *, daily: bool = False) -> str:
    """Say a growth with its unit. [mm]"""
    number = growth_number(mm, say, units, daily=daily)
    if units is Units.METRIC:
        return f"{number} mm"
    return say.ngettext("{inches} in", "{inches} in", 2).format(inches=number)


def in_units(say: Wording, units: Units) -> str:
    """Say in what bare numbers are."""
    return say.gettext("in millimetres") if units is Units.METRIC else say.gettext("in inches")


def _growth_of(say: Wording, units: Units) -> str:
    said = say.gettext("Growth {in_units} of a fully fed lawn kept at {height}; this week is the forecast.")
    return said.format(in_units=in_units(say, units), height=say.height(KEPT_MM, units))


def growth_in(mm: float, units: Units, *, daily: bool = False) -> float:
    """Return a growth in the reader's unit, as finely as it is shown: that of a day more finely. [mm]"""
    return round(mm if units is Units.METRIC else inches_from_mm(mm), _digits(units, daily=daily))


def growth_number(mm: float, say: Wording, units: Units, *, daily: bool = False) -> str:
    """Say a growth as a bare number."""
    return say.number(growth_in(mm, units, daily=daily), digits=_digits(units, daily=daily))


def _digits(units: Units, *, daily: bool) -> int:
    return (0 if units is Units.METRIC else 1) + (1 if daily else 0)
