"""What a gridded file holds: variables by their CF standard names, with units, steps and places read from it.

Nothing is guessed: a variable whose unit or axis is not known is refused with the reason.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, NoReturn

import numpy as np

from mowalert.domain.arrays import Floats, Ints
from mowalert.domain.weather import Place
from mowalert.errors import SourceError
from mowalert.weather.grid_points import Points, nearest_points
from mowalert.weather.units import TO_C, TO_MM, TO_MS, TO_PCT

NAME = "grid"
HOUR_S, DAY_S = 3600, 86400
BLOCK_BYTES = 32 * 1024 * 1024
"""Read at once of one variable; what is kept of it is the places' own points."""
MOST_FALL = 0.02
"""A sum since the start may seem to fall by what packing rounds off, as a share of a step. Working value."""


def _scaled(factor: float, value: Any) -> Any:
    return value * factor


Scales = Mapping[str, Callable[[Any], Any]]
RATES: Scales = {"mm s-1": partial(_scaled, 1.0), "m s-1": partial(_scaled, 1000.0)}
"""Of precipitation, in mm a second; kg m-2 is a millimetre of water."""
POWERS: Scales = {"W m-2": partial(_scaled, 1e-6)}
ENERGIES: Scales = {
    "J m-2": partial(_scaled, 1e-6),
    "kJ m-2": partial(_scaled, 1e-3),
    "MJ m-2": partial(_scaled, 1.0),
}
WINDS: Scales = {"m s-1": TO_MS["m/s"], "km h-1": TO_MS["km/h"], "knot": TO_MS["kn"], **TO_MS}
SHARES: Scales = {"1": partial(_scaled, 100.0), **TO_PCT}
SAME_UNIT = {
    "kelvin": "K", "degrees_Celsius": "degC", "degree_Celsius": "degC", "Celsius": "degC", "deg_C": "degC",
    "kg m-2": "mm", "kg/m2": "mm", "kg/m^2": "mm",
    "kg m-2 s-1": "mm s-1", "kg/m2/s": "mm s-1", "kg/(m^2 s)": "mm s-1",
    "mm/s": "mm s-1", "W/m2": "W m-2", "W/m^2": "W m-2", "J/m2": "J m-2", "J/m^2": "J m-2", "m/s": "m s-1",
    "knots": "knot", "kt": "knot", "metre": "m", "millimeter": "mm", "0-1": "1",
}  # fmt: skip
"""Spellings met in files, and the one that is known here."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A quantity: its standard names, its names in GRIB, and units of its values, rates and sums."""

    standard_names: tuple[str, ...]
    grib_names: tuple[str, ...]
    units: Scales
    rates: Scales | None = None
    extreme: str = ""


KINDS: dict[str, Kind] = {
    "t_c": Kind(("air_temperature",), ("2t",), TO_C),
    "t_min_c": Kind(("air_temperature",), ("mn2t", "mn2t3", "mn2t6", "tmin"), TO_C, extreme="minimum"),
    "t_max_c": Kind(("air_temperature",), ("mx2t", "mx2t3", "mx2t6", "tmax"), TO_C, extreme="maximum"),
    "rain_mm": Kind(
        (
            "precipitation_amount", "precipitation_flux", "lwe_thickness_of_precipitation_amount",
            "lwe_precipitation_rate",
        ),
        ("tp", "prate", "tprate"), TO_MM, RATES,
    ),
    "rel_humidity_pct": Kind(("relative_humidity",), ("2r",), SHARES),
    "t_dew_c": Kind(("dew_point_temperature",), ("2d",), TO_C),
    "wind_ms": Kind(("wind_speed",), ("10si",), WINDS),
    "wind_u_ms": Kind(("eastward_wind", "x_wind"), ("10u",), WINDS),
    "wind_v_ms": Kind(("northward_wind", "y_wind"), ("10v",), WINDS),
    "radiation_mj_m2": Kind(
        (
            "surface_downwelling_shortwave_flux_in_air", "surface_downwelling_shortwave_flux",
            "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air",
        ),
        ("ssrd", "sdswrf", "dswrf"), ENERGIES, POWERS,
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Axis:
    """Steps of a variable: the second each begins at since 1970 in UTC, and how long each is. [s]"""

    begins_s: Ints
    step_s: int


@dataclass(frozen=True, slots=True)
class Series:
    """Values of one quantity at places, shape (place, step), in our units; ``nan`` where missing."""

    axis: Axis
    values: Floats
    height_m: float | None = None


def fault(message: str) -> NoReturn:
    """Refuse a file."""
    raise SourceError(message, permanent=True, source=NAME)


class Fields:
    """The variables of some files, read at the places of one shard.

    Parameters
    ----------
    datasets : Sequence[Any]
        Open ``xarray.Dataset`` objects; a quantity may be in any of them.
    places : Sequence[Place]
        Where to read.
    first_s : int
        Steps that begin before are left out; seconds since 1970 in UTC.
    last_s : int
        Steps that begin at or after it are left out.
    """

    def __init__(
        self, datasets: Sequence[Any], places: Sequence[Place], *, first_s: int, last_s: int
    ) -> None:
        self._datasets, self._places = datasets, places
        self._first_s, self._last_s = first_s, last_s
        self._points: dict[int, Points] = {}

    def off_km(self) -> Floats:
        """How far the nearest point of the temperature's grid is from each place."""
        for name in ("t_c", "t_min_c"):
            if (found := self._variable(name)) is not None:
                return self._at(found[0]).off_km
        fault("no air_temperature is in it")

    def read(self, name: str) -> Series | None:
        """Read a quantity of ``KINDS``; none where no file holds it."""
        found = self._variable(name)
        if found is None:
            return None
        dataset, variable = found
        points = self._at(dataset)
        time = _time_of(variable)
        steps = _Steps.of(dataset, variable, time, is_sum=KINDS[name].rates is not None)
        convert, is_rate = _unit_of(variable, KINDS[name])
        wanted = np.nonzero((steps.begins_s >= self._first_s) & (steps.begins_s < self._last_s))[0]
        if not len(wanted):
            fault(f"{variable.name}: none of its steps is of the days asked for")
        first, last = int(wanted[0]), int(wanted[-1]) + 1
        before = 1 if steps.since_start and first > 0 else 0
        values = convert(_read(variable, str(time.dims[0]), points, first - before, last))
        if is_rate:
            values = values * steps.step_s
        if steps.since_start:
            values = _each(
                values, before=before, from_start=steps.from_start and first == 0, name=str(variable.name)
            )
        axis = Axis(steps.begins_s[first:last], steps.step_s)
        return Series(axis, values, _height_m(variable))

    def _at(self, dataset: Any) -> Points:
        key = id(dataset)
        if key not in self._points:
            latitude = _coordinate(dataset, "latitude", "degrees_north")
            longitude = _coordinate(dataset, "longitude", "degrees_east")
            self._points[key] = nearest_points(latitude, longitude, self._places)
        return self._points[key]

    def _variable(self, name: str) -> tuple[Any, Any] | None:
        kind = KINDS[name]
        found = [
            (dataset, variable)
            for dataset in self._datasets
            for variable in map(_flat, dataset.data_vars.values())
            if _is_of(variable, kind) and variable.ndim == 3
        ]
        if len(found) > 1:
            # Temperature is often told at the ground as well.
            found = [one for one in found if (_height_m(one[1]) or 0) in (2.0, 10.0)] or found
        if len(found) > 1:
            fault(f"both {found[0][1].name} and {found[1][1].name} are {kind.standard_names[0]}")
        return found[0] if found else None


def _flat(variable: Any) -> Any:
    """A variable without dimensions of one element: a height, a run, a member."""
    time = {dim for name in variable.coords if _is_time(variable[name]) for dim in variable[name].dims}
    single = [dim for dim, size in variable.sizes.items() if size == 1 and dim not in time]
    return variable.isel(dict.fromkeys(single, 0)) if variable.ndim > 3 else variable


def _is_of(variable: Any, kind: Kind) -> bool:
    standard = variable.attrs.get("standard_name", "unknown")
    named = standard in kind.standard_names or variable.attrs.get("GRIB_shortName") in kind.grib_names
    # GRIB's means do not tell their span here, and many models let it grow for some hours.
    if not named or variable.attrs.get("GRIB_stepType") == "avg":
        return False
    # GRIB's own names of extremes say which they are.
    if variable.attrs.get("GRIB_shortName") in kind.grib_names:
        return True
    methods = str(variable.attrs.get("cell_methods", "")).replace("max ", "maximum ")
    extremes = [word for word in ("minimum", "maximum") if f"time: {word}" in methods]
    return extremes == ([kind.extreme] if kind.extreme else [])


def _coordinate(dataset: Any, standard: str, unit: str) -> Any:
    for name, variable in dataset.variables.items():
        if variable.attrs.get("standard_name") == standard or variable.attrs.get("units") == unit:
            return dataset[name]
    fault(f"it has no {standard}")


def _is_time(coordinate: Any) -> bool:
    return coordinate.ndim == 1 and bool(np.issubdtype(coordinate.dtype, np.datetime64))


def _time_of(variable: Any) -> Any:
    """The coordinate that tells when each step is."""
    named = [variable.coords[name] for name in ("valid_time", "time") if name in variable.coords]
    for coordinate in (*named, *variable.coords.values()):
        if _is_time(coordinate):
            return coordinate
    fault(f"{variable.name} has no time axis that can be read")


@dataclass(frozen=True, slots=True)
class _Steps:
    begins_s: Ints
    step_s: int
    since_start: bool
    from_start: bool

    @classmethod
    def of(cls, dataset: Any, variable: Any, time: Any, *, is_sum: bool) -> "_Steps":
        """Read when steps begin: at their moments, or where values are of a span, where that begins."""
        stamps_s = _seconds(time.values)
        step_s = _step_s(stamps_s, str(variable.name))
        bounds = _bounds_s(dataset, time) if _is_of_span(variable, is_sum=is_sum) else None
        since_start = variable.attrs.get("GRIB_stepType") == "accum"
        if bounds is not None and len(bounds) > 1 and (bounds[:, 0] == bounds[0, 0]).all():
            if not is_sum or "time: mean" in str(variable.attrs.get("cell_methods", "")):
                fault(f"{variable.name}: means since the start cannot be taken apart")
            since_start, bounds = True, None
        if step_s == DAY_S:
            begins_s = (stamps_s if bounds is None else bounds[:, 0]) // DAY_S * DAY_S
        elif bounds is not None:
            begins_s = bounds[:, 0]
        elif since_start or _is_of_span(variable, is_sum=False):
            # Without bounds a span is told by its end, or by its middle.
            begins_s = -(-stamps_s // HOUR_S) * HOUR_S - HOUR_S
        else:
            begins_s = stamps_s
        start_s = _starts_s(dataset, time)
        return cls(begins_s, step_s, since_start, start_s == int(stamps_s[0]) - step_s)


def _is_of_span(variable: Any, *, is_sum: bool) -> bool:
    """Whether values are of a span of time: what is said of them, or what a quantity usually is."""
    method = str(variable.attrs.get("cell_methods", ""))
    return "time: point" not in method and ("time:" in method or is_sum)


def _seconds(moments: Any) -> Ints:
    if np.isnat(moments).any():
        fault("a moment of its time axis is missing")
    return np.asarray(moments.astype("datetime64[s]").astype(np.int64))


def _step_s(stamps_s: Ints, name: str) -> int:
    steps = np.unique(np.diff(stamps_s))
    if len(steps) == 1 and steps[0] in (HOUR_S, DAY_S):
        return int(steps[0])
    hours = ", ".join(f"{step / HOUR_S:g}" for step in steps[:4]) or "no"
    fault(f"{name}: its steps are of {hours} h; they can be of 1 h or of 24 h")


def _bounds_s(dataset: Any, time: Any) -> Ints | None:
    """Begin and end of each step, where the file tells them."""
    name = time.attrs.get("bounds") or time.encoding.get("bounds")
    bounds = dataset.variables.get(name) if name else None
    if bounds is None or not np.issubdtype(bounds.dtype, np.datetime64):
        return None
    return _seconds(bounds.values)


def _starts_s(dataset: Any, time: Any) -> int | None:
    """The second that sums since the start are counted from, where it is told."""
    bounds = _bounds_s(dataset, time)
    if bounds is not None:
        return int(bounds[0, 0])
    run = run_of(dataset.coords.values())
    return None if run is None else int(_seconds(run).item())


def run_of(coordinates: Iterable[Any]) -> Any:
    """The moment a model's run began, as ``datetime64``; none where no coordinate tells it."""
    for coordinate in coordinates:
        is_run = coordinate.attrs.get("standard_name") == "forecast_reference_time"
        if is_run and coordinate.size == 1 and np.issubdtype(coordinate.dtype, np.datetime64):
            return coordinate.values.reshape(())
    return None


def _unit_of(variable: Any, kind: Kind) -> tuple[Callable[[Any], Any], bool]:
    """How to convert a variable, and whether it is told by the second."""
    said = str(variable.attrs.get("units", "")).replace("**", "").replace("^-", "-").strip()
    unit = SAME_UNIT.get(said, said)
    if kind.rates and unit in kind.rates:
        return kind.rates[unit], True
    if unit in kind.units:
        return kind.units[unit], False
    fault(f"{variable.name}: unit {said!r} is not known for {kind.standard_names[0]}")


def _height_m(variable: Any) -> float | None:
    for name in ("height", "heightAboveGround"):
        if name in variable.coords and variable.coords[name].size == 1:
            return float(variable.coords[name].values.reshape(()))
    return None


def _read(variable: Any, time_dim: str, points: Points, first: int, last: int) -> Floats:
    """Read steps at points, block after block of the smallest box that holds them; shape (place, step)."""
    row_dim, column_dim = points.dims
    if set(variable.dims) != {time_dim, row_dim, column_dim}:
        fault(f"{variable.name} lies on {', '.join(map(str, variable.dims))}, not on time and place")
    rows = slice(int(points.rows.min()), int(points.rows.max()) + 1)
    columns = slice(int(points.columns.min()), int(points.columns.max()) + 1)
    found = np.empty((len(points.rows), last - first))
    for block in _blocks(first, last, (rows.stop - rows.start) * (columns.stop - columns.start)):
        part = variable.isel({time_dim: block, row_dim: rows, column_dim: columns})
        order = [part.dims.index(dim) for dim in (row_dim, column_dim, time_dim)]
        values = np.transpose(part.values, order)[points.rows - rows.start, points.columns - columns.start]
        found[:, block.start - first : block.stop - first] = np.ma.filled(values.astype(np.float64), np.nan)
    return _without_invalid(found, variable)


def _blocks(first: int, last: int, cells: int) -> Iterator[slice]:
    size = max(1, BLOCK_BYTES // (8 * cells))
    for start in range(first, last, size):
        yield slice(start, min(last, start + size))


def _without_invalid(values: Floats, variable: Any) -> Floats:
    """Values outside the range that the file itself calls valid are missing."""
    if {"scale_factor", "add_offset"} & set(variable.encoding):
        return values
    low, high = variable.attrs.get("valid_range", (-np.inf, np.inf))
    low, high = variable.attrs.get("valid_min", low), variable.attrs.get("valid_max", high)
    return np.where((values >= low) & (values <= high), values, np.nan)


def _each(sums: Floats, *, before: int, from_start: bool, name: str) -> Floats:
    """Each step's own share of sums since the start; the first is known only if the start is."""
    head = sums[:, :1] if from_start else np.full((len(sums), 1), np.nan)
    each = np.diff(sums, axis=1)
    if np.any(each < -MOST_FALL * max(1.0, float(np.nanmax(each, initial=0.0)))):
        fault(f"{name}: a sum since the start falls")
    each = np.where(each < 0, 0.0, each)
    return each if before else np.concatenate([head, each], axis=1)
