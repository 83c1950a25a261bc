"""How often what was called likely came true: forecasts made by rule on real seasons.

Two forecasters that need no service, fitted on even years and judged on odd ones: today's departure from
the usual, fading day by day, with a spread learned from its own past errors; and an ensemble of the same
days of other years. A watered lawn is forecast from every third day of April to October, and each day of
the coming nine is given a chance that growth has passed what is left to the limit.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from seasons import DE_BILT, LEXINGTON, MERCED, MILWAUKEE, TURF, Station, weather_of

from mowalert.domain.arrays import Floats
from mowalert.domain.doubt import chance_by_day, error_quantiles, no_errors, spread_curves, tally
from mowalert.domain.evapotranspiration import daylight_hours, radiation_from_temperatures
from mowalert.domain.growth import effective_degree_days, flush_factor, light_factor

STATIONS = (DE_BILT, MILWAUKEE, LEXINGTON, MERCED)
LEADS = 9
LEFT_MM = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 28.0)
"""Growth that is left until the limit, from nearly due to just cut."""
BINS = ((0.02, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.98))
SMOOTH_DAYS = 15
ANALOG_SHIFT_DAYS = (-6, -3, 0, 3, 6)


@dataclass(frozen=True)
class Line:
    """One line of the table: chances said, cases, mean chance and share that came true."""

    low: float
    high: float
    cases: int
    said: float
    came: float


class Place:
    """A station's temperatures by day, and what is usual there, from even years."""

    def __init__(self, fields: Path, station: Station) -> None:
        weather = weather_of(fields, station)
        self.latitude_deg = station.latitude_deg
        self.first_on = weather.first_on
        self.t_c = np.array([weather.columns["t_min_c"], weather.columns["t_max_c"]])
        days = self.t_c.shape[1]
        self.dates = [self.first_on + timedelta(days=index) for index in range(days)]
        self.usual_c = self._usual()
        anomaly = (self.t_c - self.usual_c).mean(axis=0)
        even = np.array([on.year % 2 == 0 for on in self.dates[:-1]])
        self.fading = float(np.corrcoef(anomaly[:-1][even], anomaly[1:][even])[0, 1])
        self.warmth_c = self._warmth()

    def _usual(self) -> Floats:
        """Mean of even years for each day of the year, smoothed over a month."""
        doy = np.array([on.timetuple().tm_yday for on in self.dates])
        even = np.array([on.year % 2 == 0 for on in self.dates])
        by_day = np.full((2, 367), np.nan)
        for day in range(1, 367):
            near = even & (np.minimum(abs(doy - day), 366 - abs(doy - day)) <= SMOOTH_DAYS)
            by_day[:, day] = self.t_c[:, near].mean(axis=1)
        return by_day[:, doy]

    def _warmth(self) -> Floats:
        mean_c = np.maximum(self.t_c.mean(axis=0), 0.0)
        year = np.array([on.year for on in self.dates])
        total = np.zeros(len(mean_c))
        for one in np.unique(year):
            total[year == one] = np.cumsum(mean_c[year == one])
        return total

    def growth(self, t_c: Floats, start: int) -> Floats:
        """Growth of a watered bluegrass stand on the days after a day, from their temperatures. [mm]"""
        grass = TURF.grasses["kentucky_bluegrass"]
        mean_c = t_c.mean(axis=0)
        doy = np.array([float(self.dates[start + 1 + lead].timetuple().tm_yday) for lead in range(LEADS)])
        sun = radiation_from_temperatures(t_c[0], t_c[1], latitude_deg=self.latitude_deg, day_of_year=doy)
        light = light_factor(
            sun, sun_share=np.ones(LEADS), full_light_mj_m2=np.full(LEADS, grass.full_light_mj_m2)
        )
        effective = effective_degree_days(
            mean_c,
            base_c=np.float64(grass.base_c),
            opt_c=np.float64(grass.opt_c),
            max_c=np.float64(grass.max_c),
        )
        warmth = self.warmth_c[start] + np.cumsum(np.maximum(mean_c, 0.0))
        pace = grass.g50_mm_d / (grass.opt_c - grass.base_c)
        flush = flush_factor(warmth, daylight_h=daylight_hours(self.latitude_deg, doy), cool=np.ones(LEADS))
        return np.asarray(pace * effective * light * flush)

    def gains(self, t_c: Floats, start: int) -> Floats:
        return np.cumsum(self.growth(t_c, start))

    def true_c(self, start: int) -> Floats:
        return np.asarray(self.t_c[:, start + 1 : start + 1 + LEADS])

    def faded_c(self, start: int) -> Floats:
        """Today's departure from the usual, fading day by day."""
        away = (self.t_c[:, start] - self.usual_c[:, start]).mean()
        fade = self.fading ** np.arange(1, LEADS + 1)
        return np.asarray(self.usual_c[:, start + 1 : start + 1 + LEADS] + away * fade)

    def starts(self, *, even: bool) -> list[int]:
        """Every third day of the growing season, in even or odd years."""
        return [
            index
            for index, on in enumerate(self.dates[: -LEADS - 10])
            if index > 10 and 4 <= on.month <= 10 and (on.year % 2 == 0) == even and index % 3 == 0
        ]

    def analogs_c(self, start: int) -> list[Floats]:
        """The same days of even years, a few days around them as well."""
        on = self.dates[start]
        found = []
        for year in range(self.first_on.year, self.dates[-1].year + 1):
            for shift in ANALOG_SHIFT_DAYS:
                then = (date(year, on.month, min(on.day, 28)) - self.first_on).days + shift
                if year % 2 == 0 and then >= 0 and then + 1 + LEADS <= len(self.dates):
                    found.append(self.true_c(then))
        return found


def learned(places: list[Place]) -> Floats:
    """Errors by lead that the fading forecast made in even years, as the service learns them."""
    seen = no_errors(LEADS)
    for place in places:
        for start in place.starts(even=True):
            said, true = place.gains(place.faded_c(start), start), place.gains(place.true_c(start), start)
            for lead in range(LEADS):
                seen[lead] += tally(said[lead : lead + 1], true[lead : lead + 1])
    return error_quantiles(seen)


def chances_of_errors(places: list[Place], errors: Floats) -> list[tuple[float, bool]]:
    """Chances said on odd years with these equally likely errors, and whether each came true."""
    cases = []
    for place in places:
        for start in place.starts(even=False):
            members = spread_curves(place.gains(place.faded_c(start), start), errors)
            cases += _cases(members, place.gains(place.true_c(start), start))
    return cases


def chances_of_analogs(places: list[Place]) -> list[tuple[float, bool]]:
    """The same from an ensemble of other years."""
    cases = []
    for place in places:
        for start in place.starts(even=False):
            members = np.array([place.gains(t_c, start) for t_c in place.analogs_c(start)])
            cases += _cases(members, place.gains(place.true_c(start), start))
    return cases


def _cases(members: Floats, true: Floats) -> list[tuple[float, bool]]:
    return [
        (float(chance), bool(true[lead] > left))
        for left in LEFT_MM
        for lead, chance in enumerate(chance_by_day(left, 0.0, members)[1:])
    ]


def table(cases: list[tuple[float, bool]]) -> list[Line]:
    """Chances said against what came, by bins of chance."""
    said = np.array([chance for chance, _ in cases])
    came = np.array([passed for _, passed in cases])
    lines = []
    for low, high in BINS:
        inside = (said >= low) & (said < high)
        share = float(came[inside].mean()) if inside.any() else float("nan")
        mean = float(said[inside].mean()) if inside.any() else float("nan")
        lines.append(Line(low, high, int(inside.sum()), mean, share))
    return lines


def as_markdown(title: str, lines: list[Line]) -> str:
    rows = "\n".join(
        f"| {line.low:.0%} to {line.high:.0%} | {line.cases} | {line.said:.0%} | {line.came:.0%} |"
        for line in lines
    )
    return f"## {title}\n\n| chance said | cases | mean chance | came true |\n|---|---|---|---|\n{rows}\n"
