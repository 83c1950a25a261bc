"""Numbers, days and reasons as people say them."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from math import ceil, floor

from mowalert.domain.lawn import place_name
from mowalert.domain.notices import DayPart, DayReason, HoldFacts, Notice
from mowalert.domain.thirds import THIRD, limit_height_mm
from mowalert.domain.units import MM_PER_INCH, c_from_f, f_from_c, inches_from_mm
from mowalert.domain.words import Clippings, HoldReason, Units

QUARTERS = {0: "", 1: "¼", 2: "½", 3: "¾"}
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip
PARTS = {
    DayPart.MORNING: "morning",
    DayPart.EARLY_MORNING: "early in the morning, while it is cool",
    DayPart.AFTERNOON: "after the frost has thawed",
    DayPart.EVENING: "evening",
}
ATTRIBUTIONS: Mapping[str, str] = {
    "open_meteo": "Weather data by Open-Meteo.com (CC BY 4.0)",
    "nws": "Source: NOAA / National Weather Service",
    "met_norway": "Based on data from MET Norway (NLOD 2.0, CC BY 4.0)",
    "demo": "Invented weather",
}


def height(mm: float, units: Units, *, up: bool = False) -> str:
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
    whole = max(1, whole)
    return f"{whole // 4 or ''}{QUARTERS[whole % 4]} in"


def cut_height(after_mm: float, removed: float, units: Units) -> str:
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
        return height(after_mm, units, up=True)
    before_mm = after_mm / (1 - removed)
    nearest_mm = floor(inches_from_mm(after_mm) * 4 + 0.5) / 4 * MM_PER_INCH
    return height(after_mm, units, up=1 - nearest_mm / before_mm > THIRD + 1e-9)


def share(notice: Notice) -> str:
    """Say the largest share of the blade a cut of this lawn may take."""
    return "a third" if abs(notice.third - THIRD) < 0.005 else percent(notice.third)


def limit(notice: Notice, units: Units) -> str:
    """Say the height at which a cut would take that share."""
    return height(limit_height_mm(notice.chosen_height_mm, notice.third), units)


def how_long(hold: HoldFacts, units: Units) -> str:
    """Say how long a hold has been and is expected to be, or the dates that were set for it."""
    if hold.ended_on is not None:
        return f"From {day(hold.started_on, units)} to {day(hold.ended_on, units)}."
    if hold.expected_end_on is None:
        return f"Since {day(hold.started_on, units)}."
    about = weekday(hold.expected_end_on)
    return f"Since {day(hold.started_on, units)}; by the forecast until about {about}."


def temperature(celsius: float, units: Units) -> str:
    """Say a temperature in whole degrees."""
    return f"{f_from_c(celsius):.0f} °F" if units is Units.US else f"{celsius:.0f} °C"


def heat_index(fahrenheit: float, units: Units) -> str:
    """Say a heat index in the keeper's degrees."""
    return temperature(float(c_from_f(fahrenheit)), units)


def rain(mm: float, units: Units) -> str:
    """Say a depth of rain."""
    return f"{inches_from_mm(mm):.1f} in" if units is Units.US else f"{mm:.0f} mm"


def weekday(on: date) -> str:
    """Say the weekday."""
    return WEEKDAYS[on.weekday()]


def day(on: date, units: Units) -> str:
    """Say weekday and date."""
    month = MONTHS[on.month - 1]
    if units is Units.US:
        return f"{weekday(on)}, {month} {on.day}"
    return f"{weekday(on)} {on.day} {month}"


def percent(share: float) -> str:
    """Say a share in whole per cent, rounded down."""
    return f"{floor(share * 100 + 1e-6)} %"


def names(items: Sequence[str], *, most: int = 5) -> str:
    """Say a list of names, the first few of many."""
    shown = list(items[:most])
    if len(items) > most:
        return f"{', '.join(shown)} and {len(items) - most} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def place(notice: Notice) -> str:
    """Say which lawn a notice is about."""
    return place_name(notice.site_name, notice.lawn_name)


def learned(factor: float) -> str:
    """Say what a keeper's measurements have taught about a lawn."""
    share = round(abs(factor - 1) * 20) * 5
    if share < 5:
        return "By your measurements it grows about as fast as we assumed."
    way = "faster" if factor > 1 else "slower"
    return f"By your measurements it grows about {share} % {way} than we assumed."


def guide(notice: Notice, units: Units, language: str) -> list[str]:
    """Say what a region guide adds to a cut: heights where the lawn is kept otherwise, and sentences."""
    said = notice.guide
    if said is None:
        return []
    lines = guide_sentences(notice, language)
    if said.low_mm is None or said.high_mm is None:
        return lines
    if said.low_mm <= notice.chosen_height_mm <= said.high_mm:
        return lines
    heights = f"{height(said.low_mm, units)} to {height(said.high_mm, units)}"
    return [f"The region guide has {notice.grass_name} at {heights} now.", *lines]


def guide_sentences(notice: Notice, language: str) -> list[str]:
    """Say the adviser's sentences in the keeper's language, or in English."""
    says = notice.guide.says if notice.guide else ()
    lines: dict[str, dict[str, str]] = {}
    for name, spoken, sentence in says:
        lines.setdefault(name, {})[spoken] = sentence
    return [line for of in lines.values() if (line := of.get(language) or of.get("en"))]


def alike(notices: Sequence[Notice]) -> list[tuple[str, list[Notice]]]:
    """Put notices of one turf class and one reason together, under the class's name."""
    groups: dict[tuple[str, HoldReason | None], list[Notice]] = {}
    for notice in notices:
        groups.setdefault((notice.turf_class, notice.reason), []).append(notice)
    ordered = sorted(groups.items(), key=lambda group: group[0][0])
    return [((turf or "all turf").capitalize(), members) for (turf, _), members in ordered]


def why_this_day(notice: Notice) -> str:
    """Say in one sentence why the day was chosen."""
    return {
        DayReason.LAST_SAFE: (
            f"It is the last of your mowing days before a cut would take more than {share(notice)}."
        ),
        DayReason.RAIN_RESERVE: "A later day would do, but rain is forecast for it.",
        DayReason.ONLY_DRY: "It is the only dry chance.",
        DayReason.LEAST_WET: "Every mowing day looks wet; this one has the least rain. Wait for dry leaves.",
        DayReason.OVERDUE: "The grass has outgrown one cut, so bring it down in steps.",
        DayReason.AFTER_HOLD: "The hold is over.",
    }.get(notice.day_reason, "")  # type: ignore[arg-type]


def clippings(notice: Notice) -> str:
    """Say what to do with the clippings."""
    return {
        Clippings.LEAVE: "Leave the clippings: they feed the lawn.",
        Clippings.COLLECT: "Collect the clippings.",
        Clippings.CUT_TWICE: "Clippings will be heavy: spread or collect them, windrows smother the grass.",
    }[notice.clippings]


HOLD_NAMES = {
    HoldReason.HEAT: "heat hold",
    HoldReason.DROUGHT: "drought hold",
    HoldReason.DORMANT: "dormancy hold",
    HoldReason.COLD: "cold hold",
    HoldReason.FROST: "frost hold",
    HoldReason.WATERLOGGED: "wet ground hold",
    HoldReason.WET_LEAF: "wet leaf hold",
    HoldReason.TREATMENT: "treatment hold",
    HoldReason.EVENT: "event hold",
    HoldReason.NESTING: "nesting hold",
    HoldReason.NOISE: "quiet time",
}

WHAT_INSTEAD = {
    HoldReason.HEAT: (
        "Leave it tall and keep traffic off in the afternoon. If you water, do it deeply and before sunrise."
    ),
    HoldReason.DROUGHT: (
        "Keep feet and wheels off. Water deeply and seldom where local rules allow it, or let it go dormant."
    ),
    HoldReason.DORMANT: (
        "Do not mow, feed or walk on it. Crowns usually live four to six weeks without rain "
        "(common practice); a little water now and then helps where it is allowed."
    ),
    HoldReason.COLD: "Growth has stopped for the season. Clean the mower and keep leaves off the grass.",
    HoldReason.FROST: "Stay off frozen grass; footprints kill the blades.",
    HoldReason.WATERLOGGED: (
        "Stay off until the ground has drained: wheels rut and pack wet soil, and slopes slip."
    ),
    HoldReason.WET_LEAF: "Wait for dry leaves.",
    HoldReason.TREATMENT: "The product's label is the law: follow its re-entry and mowing interval.",
    HoldReason.EVENT: "Mow before or after the dates you set.",
    HoldReason.NESTING: "Leave the nest its distance; local rules decide.",
    HoldReason.NOISE: "Local noise rules decide the hours.",
}


def hold_name(reason: HoldReason) -> str:
    """Name a hold."""
    return HOLD_NAMES[reason]


def instead(reason: HoldReason) -> str:
    """Say what to do instead of mowing."""
    return WHAT_INSTEAD[reason]


def hold_reason(hold: HoldFacts, units: Units) -> str:
    """Say in one sentence, with its numbers, why a hold is in force."""
    facts = dict(hold.facts)
    teller = REASONS.get(hold.reason)
    return teller(facts, units) if teller else (hold.note or "A date that was set forbids mowing.")


def _water(facts: Mapping[str, float]) -> str:
    return percent(facts.get("water_stress", 0.0))


REASONS: Mapping[HoldReason, Callable[[Mapping[str, float], Units], str]] = {
    HoldReason.HEAT: lambda facts, units: (
        f"It reaches {temperature(facts.get('t_max_c', 0.0), units)} and the grass takes only "
        f"{_water(facts)} of the water it could use."
        if facts.get("water_stress", 1.0) < 0.6
        else f"It reaches {temperature(facts.get('t_max_c', 0.0), units)}: too hot to cut any grass."
    ),
    HoldReason.DROUGHT: lambda facts, units: (
        f"The grass is wilting: it takes only {_water(facts)} of the water it could use."
    ),
    HoldReason.DORMANT: lambda facts, units: (
        "The soil has been dry so long that the grass rests: "
        f"it takes {_water(facts)} of the water it could use."
    ),
    HoldReason.COLD: lambda facts, units: (
        f"The last ten days averaged {temperature(facts.get('mean_10_days_c', 0.0), units)}: "
        "too cold to grow."
    ),
    HoldReason.FROST: lambda facts, units: "The grass is frozen.",
    HoldReason.WATERLOGGED: lambda facts, units: (
        f"{rain(facts.get('rain_48_h_mm', 0.0), units)} of rain in two days have filled the soil."
    ),
}
