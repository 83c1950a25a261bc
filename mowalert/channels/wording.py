"""Numbers, days and reasons as people say them, in their language."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import cache, lru_cache
from math import ceil, floor, isfinite
from zoneinfo import ZoneInfo

from babel.dates import get_day_names, get_month_names
from babel.numbers import get_decimal_symbol

from mowalert.domain.lawn import place_name
from mowalert.domain.notices import (
    ClassNotice,
    ClassStep,
    DayPart,
    DayReason,
    HoldFacts,
    Notice,
)
from mowalert.domain.thirds import THIRD, limit_height_mm
from mowalert.domain.units import MM_PER_INCH, c_from_f, f_from_c, inches_from_mm
from mowalert.domain.words import Clippings, HoldReason, Units
from mowalert.errors import InputError, Millimetres
from mowalert.languages import N_, sentence, spoken, translations

QUARTERS = {0: "", 1: "¼", 2: "½", 3: "¾"}
PARTS = {
    DayPart.MORNING: N_("morning"),
    DayPart.EARLY_MORNING: N_("early in the morning, while it is cool"),
    DayPart.AFTERNOON: N_("after the frost has thawed"),
    DayPart.EVENING: N_("evening"),
}
ATTRIBUTIONS: Mapping[str, str] = {
    "open_meteo": N_("Weather data by Open-Meteo.com (CC BY 4.0)"),
    "nws": N_("Source: NOAA / National Weather Service"),
    "met_norway": N_("Based on data from MET Norway (NLOD 2.0, CC BY 4.0)"),
    "demo": N_("Invented weather"),
}
GRASSES = (
    N_("perennial ryegrass"),
    N_("Kentucky bluegrass"),
    N_("tall fescue"),
    N_("fine fescue"),
    N_("creeping bentgrass"),
    N_("annual bluegrass"),
    N_("bermudagrass"),
    N_("zoysiagrass"),
    N_("St. Augustinegrass"),
    N_("centipedegrass"),
    N_("buffalograss"),
    N_("bahiagrass"),
    N_("seashore paspalum"),
)
"""The names of ``config/grasses.toml``; one an operator adds is said as it is written there."""
DAY_REASONS = {
    DayReason.LAST_SAFE: N_("It is the last of your mowing days before a cut would take more than {share}."),
    DayReason.RAIN_RESERVE: N_("A later day would do, but rain is forecast for it."),
    DayReason.ONLY_DRY: N_("It is the only dry chance."),
    DayReason.LEAST_WET: N_("Every mowing day looks wet; this one has the least rain. Wait for dry leaves."),
    DayReason.OVERDUE: N_("The grass has outgrown one cut, so bring it down in steps."),
    DayReason.AFTER_HOLD: N_("The hold is over."),
}
CLIPPINGS = {
    Clippings.LEAVE: N_("Leave the clippings: they feed the lawn."),
    Clippings.COLLECT: N_("Collect the clippings."),
    Clippings.CUT_TWICE: N_("Clippings will be heavy: spread or collect them, windrows smother the grass."),
}
HOLD_NAMES = {
    HoldReason.HEAT: N_("heat hold"),
    HoldReason.DROUGHT: N_("drought hold"),
    HoldReason.DORMANT: N_("dormancy hold"),
    HoldReason.COLD: N_("cold hold"),
    HoldReason.FROST: N_("frost hold"),
    HoldReason.WATERLOGGED: N_("wet ground hold"),
    HoldReason.WET_LEAF: N_("wet leaf hold"),
    HoldReason.TREATMENT: N_("treatment hold"),
    HoldReason.EVENT: N_("event hold"),
    HoldReason.NESTING: N_("nesting hold"),
    HoldReason.NOISE: N_("quiet time"),
}
HOLD_REASONS = {
    HoldReason.HEAT: N_("It reaches {hottest}: too hot to cut any grass."),
    HoldReason.DROUGHT: N_("The grass is wilting: it takes only {water} of the water it could use."),
    HoldReason.DORMANT: N_(
        "The soil has been dry so long that the grass rests: it takes {water} of the water it could use."
    ),
    HoldReason.COLD: N_("The last ten days averaged {mean}: too cold to grow."),
    HoldReason.FROST: N_("The grass is frozen."),
    HoldReason.WATERLOGGED: N_("{rain} of rain in two days have filled the soil."),
}
HEAT_AND_THIRST = N_("It reaches {hottest} and the grass takes only {water} of the water it could use.")
THIRSTY_BELOW = 0.6
"""Share of the water it could use below which a hot lawn is told that it is thirsty as well."""
WHAT_INSTEAD = {
    HoldReason.HEAT: N_(
        "Leave it tall and keep traffic off in the afternoon. If you water, do it deeply and before sunrise."
    ),
    HoldReason.DROUGHT: N_(
        "Keep feet and wheels off. Water deeply and seldom where local rules allow it, or let it go dormant."
    ),
    HoldReason.DORMANT: N_(
        "Do not mow, feed or walk on it. Crowns usually live four to six weeks without rain "
        "(common practice); a little water now and then helps where it is allowed."
    ),
    HoldReason.COLD: N_("Growth has stopped for the season. Clean the mower and keep leaves off the grass."),
    HoldReason.FROST: N_("Stay off frozen grass; footprints kill the blades."),
    HoldReason.WATERLOGGED: N_(
        "Stay off until the ground has drained: wheels rut and pack wet soil, and slopes slip."
    ),
    HoldReason.WET_LEAF: N_("Wait for dry leaves."),
    HoldReason.TREATMENT: N_("The product's label is the law: follow its re-entry and mowing interval."),
    HoldReason.EVENT: N_("Mow before or after the dates you set."),
    HoldReason.NESTING: N_("Leave the nest its distance; local rules decide."),
    HoldReason.NOISE: N_("Local noise rules decide the hours."),
}

remembered = lru_cache(maxsize=2048)
"""For methods of ``Wording`` whose answers are few; there is one a language, for good."""


class Wording:
    """Says numbers, days and reasons in one language; get one from ``wording_in``.

    Parameters
    ----------
    language : str
        A code of ``LANGUAGES``.
    """

    def __init__(self, language: str) -> None:
        words = translations(language)
        self.language = language
        self.gettext, self.ngettext = words.gettext, words.ngettext
        weekdays, months = (named("wide", locale=language) for named in (get_day_names, get_month_names))
        self._weekdays: tuple[str, ...] = tuple(weekdays[number] for number in range(7))
        self._months: tuple[str, ...] = tuple(months[number] for number in range(1, 13))
        self._decimal = get_decimal_symbol(language)

    def number(self, value: float, *, digits: int = 0) -> str:
        """Say a number with the language's decimal mark."""
        return f"{value:.{digits}f}".replace(".", self._decimal)

    def height(self, mm: float, units: Units, *, up: bool = False) -> str:
        """Say a height: inches to the nearest quarter, or whole millimetres.

        Parameters
        ----------
        mm : float
            The height. [mm]
        units : Units
            The keeper's.
        up : bool
            Round up, for a height to cut at: rounded down it could take more than a third.

        Returns
        -------
        str
            Such as ``2¾ in`` or ``70 mm``.
        """
        if units is Units.METRIC:
            return f"{ceil(mm - 1e-6) if up else round(mm)} mm"
        quarters = inches_from_mm(mm) * 4
        # A height chosen in inches survives the way through millimetres.
        whole = ceil(quarters - 0.02) if up else floor(quarters + 0.5)
        return self._quarters(max(1, whole))

    @remembered
    def _quarters(self, whole: int) -> str:
        return self._inches(f"{whole // 4 or ''}{QUARTERS[whole % 4]}", many=whole > 4)

    def _inches(self, inches: str, *, many: bool) -> str:
        return self.ngettext("{inches} in", "{inches} in", 2 if many else 1).format(inches=inches)

    def mistake(self, error: InputError, units: Units) -> str:
        """Say what somebody got wrong, heights in their units; in English where nobody has translated it."""
        said = self.gettext(error.message)
        values = {
            name: self.height(value, units) if isinstance(value, Millimetres) and isfinite(value) else value
            for name, value in error.values.items()
        }
        return sentence(said.format(**values) if values else said)

    def cut_height(self, after_mm: float, removed: float, units: Units) -> str:
        """Say the height to cut at, given the share the cut removes.

        Parameters
        ----------
        after_mm : float
            Height after the cut. [mm]
        removed : float
            Share of the blade it takes. [-]
        units : Units
            The keeper's.

        Returns
        -------
        str
            To the nearest quarter inch, or up where down would make the cut take more than a third.
        """
        if units is Units.METRIC:
            return self.height(after_mm, units, up=True)
        before_mm = after_mm / (1 - removed)
        nearest_mm = floor(inches_from_mm(after_mm) * 4 + 0.5) / 4 * MM_PER_INCH
        return self.height(after_mm, units, up=1 - nearest_mm / before_mm > THIRD + 1e-9)

    def share(self, notice: Notice) -> str:
        """Say the largest share of the blade a cut of this lawn may take."""
        if abs(notice.third - THIRD) < 0.005:
            return self.gettext("a third")
        # On its own in the catalogue: some languages want an article, as "a third" has one.
        return self.gettext("{percent}").format(percent=self.percent(notice.third))

    def limit(self, notice: Notice, units: Units) -> str:
        """Say the height at which a cut would take that share."""
        return self.height(limit_height_mm(notice.chosen_height_mm, notice.third), units)

    def how_long(self, hold: HoldFacts, units: Units) -> str:
        """Say how long a hold has been and is expected to be, or the dates that were set for it."""
        first = self.day(hold.started_on, units)
        if hold.ended_on is not None:
            last = self.day(hold.ended_on, units)
            return self.gettext("From {first} to {last}.").format(first=first, last=last)
        if hold.expected_end_on is None:
            return self.gettext("Since {first}.").format(first=first)
        about = self.weekday(hold.expected_end_on)
        said = self.gettext("Since {first}; by the forecast until about {weekday}.")
        return said.format(first=first, weekday=about)

    def temperature(self, celsius: float, units: Units) -> str:
        """Say a temperature in whole degrees."""
        return f"{f_from_c(celsius):.0f} °F" if units is Units.US else f"{celsius:.0f} °C"

    def heat_index(self, fahrenheit: float, units: Units) -> str:
        """Say a heat index in the keeper's degrees."""
        return self.temperature(float(c_from_f(fahrenheit)), units)

    def rain(self, mm: float, units: Units) -> str:
        """Say a depth of rain."""
        if units is Units.METRIC:
            return f"{mm:.0f} mm"
        return self._inches(self.number(inches_from_mm(mm), digits=1), many=True)

    def weekday(self, on: date) -> str:
        """Say the weekday."""
        return self._weekdays[on.weekday()]

    @remembered
    def day(self, on: date, units: Units) -> str:
        """Say weekday and date."""
        us = units is Units.US
        said = self.gettext("{weekday}, {month} {day}") if us else self.gettext("{weekday} {day} {month}")
        return said.format(weekday=self.weekday(on), day=on.day, month=self._months[on.month - 1])

    def moments(self, first: datetime, last: datetime, time_zone: str, units: Units) -> str:
        """Say from when to when, by the clocks of a time zone."""
        zone = ZoneInfo(time_zone)
        ends = [moment.astimezone(zone) for moment in (first, last)]
        return " – ".join(f"{self.day(end.date(), units)} {end:%H:%M}" for end in ends)

    def part(self, of_day: DayPart) -> str:
        """Say a part of the day."""
        return self.gettext(PARTS[of_day])

    def percent(self, share: float) -> str:
        """Say a share in whole per cent, rounded down."""
        return f"{floor(share * 100 + 1e-6)} %"

    def names(self, items: Sequence[str], *, most: int = 5) -> str:
        """Say a list of names, the first few of many; names with commas in them are kept apart by more."""
        shown = list(items[:most])
        between = "; " if any("," in one for one in shown) else ", "
        if len(items) > most:
            said = self.gettext("{names} and {count} more")
            return said.format(names=between.join(shown), count=len(items) - most)
        if len(shown) < 2:
            return "".join(shown)
        return self.gettext("{names} and {last}").format(names=between.join(shown[:-1]), last=shown[-1])

    def place(self, notice: Notice) -> str:
        """Say which lawn a notice is about."""
        return place_name(notice.site_name, notice.lawn_name)

    def grass(self, name: str) -> str:
        """Say a grass; one an operator added by the name it was given."""
        return self.gettext(name) if name else name

    def attribution(self, source: str) -> str:
        """Name a source of weather as its terms ask."""
        return self.gettext(ATTRIBUTIONS[source]) if source in ATTRIBUTIONS else source

    def learned(self, factor: float) -> str:
        """Say what a keeper's measurements have taught about a lawn."""
        share = round(abs(factor - 1) * 20) * 5
        if share < 5:
            return self.gettext("By your measurements it grows about as fast as we assumed.")
        said = (
            self.gettext("By your measurements it grows about {share} faster than we assumed.")
            if factor > 1
            else self.gettext("By your measurements it grows about {share} slower than we assumed.")
        )
        return said.format(share=f"{share} %")

    def guide(self, notice: Notice, units: Units) -> list[str]:
        """Say what a region guide adds to a cut: heights where the lawn is kept otherwise, and sentences."""
        said = notice.guide
        if said is None:
            return []
        lines = self.guide_sentences(notice)
        if said.low_mm is None or said.high_mm is None:
            return lines
        if said.low_mm <= notice.chosen_height_mm <= said.high_mm:
            return lines
        heights = self.gettext("The region guide has {grass} at {low} to {high} now.").format(
            grass=self.grass(notice.grass_name),
            low=self.height(said.low_mm, units),
            high=self.height(said.high_mm, units),
        )
        return [heights, *lines]

    def guide_sentences(self, notice: Notice) -> list[str]:
        """Say the adviser's sentences in this language, or in English."""
        says = notice.guide.says if notice.guide else ()
        lines: dict[str, dict[str, str]] = {}
        for name, language, said in says:
            lines.setdefault(name, {})[language] = said
        return [line for of in lines.values() if (line := of.get(self.language) or of.get("en"))]

    def alike(self, notices: Sequence[Notice]) -> list[tuple[str, list[Notice]]]:
        """Put notices of one turf class and one reason together, under the class's name."""
        groups: dict[tuple[str, HoldReason | None], list[Notice]] = {}
        for notice in notices:
            groups.setdefault((notice.turf_class, notice.reason), []).append(notice)
        ordered = sorted(groups.items(), key=lambda group: group[0][0])
        return [((turf or self.gettext("all turf")).capitalize(), members) for (turf, _), members in ordered]

    def why_this_day(self, notice: Notice) -> str:
        """Say in one sentence why the day was chosen."""
        if notice.day_reason is None:
            return ""
        return self.gettext(DAY_REASONS[notice.day_reason]).format(share=self.share(notice))

    def class_title(self, said: ClassNotice) -> str:
        """Say which class's hold starts, ends or runs long, and where."""
        title = {
            ClassStep.STARTED: self.gettext("{where}: {hold} starts, do not mow"),
            ClassStep.RELEASED: self.gettext("{where}: {hold} ends, mowing may start again"),
            ClassStep.ESCALATED: self.gettext("{where}: {hold} has lasted {days} days"),
            ClassStep.OVER_CAP: self.gettext("{where}: {hold} meets a height limit"),
        }[said.step]
        return title.format(where=self.class_place(said), hold=self.hold_name(said.reason), days=said.days)

    def class_place(self, said: ClassNotice) -> str:
        """Name a class and its district."""
        turf_class = sentence(said.turf_class.replace("_", " "))
        return f"{turf_class}, {said.district}" if said.district else turf_class

    def class_lines(self, said: ClassNotice, units: Units) -> list[str]:
        """Say why and for how long, what is still allowed, and whom to ask."""
        lines = []
        if said.step is ClassStep.STARTED and said.facts is not None:
            lines.append(f"{self.hold_reason(said.facts, units)} {self.how_long(said.facts, units)}")
            if said.facts.expected_end_on is None:
                lines.append(self.gettext("Its end lies beyond the forecast."))
        elif said.step is ClassStep.ESCALATED:
            lines.append(
                self.gettext(
                    "Since {day}, and no end yet. Look at the turf and decide what it needs."
                ).format(day=self.day(said.started_on, units))
            )
        elif said.step is ClassStep.RELEASED:
            lines.append(self.gettext("Since {first}.").format(first=self.day(said.started_on, units)))
            lines.append(
                self.gettext("Raise the first cut: take no more than a third, then come down in steps.")
            )
        if said.step in (ClassStep.STARTED, ClassStep.ESCALATED):
            lines.append(self.instead(said.reason))
            if said.allowed:
                lines.append(self.gettext("Still allowed: {what}").format(what=said.allowed))
        lines += [f"{name}. {note}".strip() if note else f"{name}." for name, note in said.rules]
        if said.height_cap_mm is not None:
            lines.append(self._cap(said, units))
        if said.call:
            lines.append(self.gettext("Questions: {who}").format(who=said.call))
        return lines

    def _cap(self, said: ClassNotice, units: Units) -> str:
        height = self.height(said.height_cap_mm or 0.0, units)
        if said.over_cap_on is None:
            text = self.gettext(
                "A local rule sets a maximum height of {height}: it applies as well. "
                "Ask the office that made it."
            )
            return text.format(height=height)
        text = self.gettext(
            "A local rule sets a maximum height of {height}, which held turf passes about {day}: both apply. "
            "Ask the office that made the rule."
        )
        return text.format(height=height, day=self.day(said.over_cap_on, units))

    def clippings(self, notice: Notice) -> str:
        """Say what to do with the clippings."""
        return self.gettext(CLIPPINGS[notice.clippings])

    def hold_name(self, reason: HoldReason) -> str:
        """Name a hold."""
        return self.gettext(HOLD_NAMES[reason])

    def instead(self, reason: HoldReason) -> str:
        """Say what to do instead of mowing."""
        return self.gettext(WHAT_INSTEAD[reason])

    def hold_reason(self, hold: HoldFacts, units: Units) -> str:
        """Say in one sentence, with its numbers, why a hold is in force."""
        facts = dict(hold.facts)
        said = HOLD_REASONS.get(hold.reason)
        if said is None:
            return hold.note or self.gettext("A date that was set forbids mowing.")
        if hold.reason is HoldReason.HEAT and facts.get("water_stress", 1.0) < THIRSTY_BELOW:
            said = HEAT_AND_THIRST
        return self.gettext(said).format(
            hottest=self.temperature(facts.get("t_max_c", 0.0), units),
            mean=self.temperature(facts.get("mean_10_days_c", 0.0), units),
            water=self.percent(facts.get("water_stress", 0.0)),
            rain=self.rain(facts.get("rain_48_h_mm", 0.0), units),
        )


def wording_in(language: str) -> Wording:
    """Return how things are said in a language; in English for one that is not ours."""
    return _wording(spoken(language))


@cache
def _wording(language: str) -> Wording:
    return Wording(language)
