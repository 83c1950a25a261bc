"""Whose column is which of ours: proposed by name, shown for confirmation, and kept for the next time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from re import sub

from mowalert.errors import InputError
from mowalert.service.lawn_rows import COLUMNS

WORK_COLUMNS = (
    "number", "client", "access", "gate", "dog", "district", "minutes", "crew", "visit_from", "visit_to",
)  # fmt: skip
"""What an office knows of the work, beside what a lawn is."""
ACRES = "area_acres"
OURS = (*COLUMNS, *WORK_COLUMNS, ACRES)
SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "keeper": ("company", "organisation", "organization", "empresa"),
    "number": ("account", "account no", "property no", "property id", "id", "no", "site no", "numero"),
    "client": ("customer", "customer name", "owner", "client name", "cliente"),
    "site": ("property", "property name", "location", "site name", "propiedad", "sitio"),
    "address": ("street", "street address", "service address", "direccion"),
    "latitude": ("lat", "latitud"),
    "longitude": ("lon", "lng", "long", "longitud"),
    "lawn": ("area name", "turf area", "zone", "cesped"),
    "grass": ("grass type", "turf", "turf type", "species", "hierba"),
    "height_mm": ("height mm", "mowing height mm", "cut height mm", "altura mm"),
    "height_in": ("height in", "mowing height in", "cut height in", "cut height inches", "height inches"),
    "area_m2": ("area m2", "size m2", "lawn m2", "square metres", "superficie m2"),
    "area_sqft": ("area sq ft", "area sqft", "lot size sq ft", "square feet", "turf sq ft", "size sq ft"),
    ACRES: ("acres", "lot acres", "turf acres"),
    "turf_class": ("class", "turf class", "clase"),
    "watering": ("irrigation", "irrigated", "riego"),
    "nitrogen": ("n lb per 1000 sq ft", "nitrogen lb"),
    "last_mown_on": ("last mowed", "last mown", "last cut", "last service", "ultimo corte"),
    "minutes": ("time", "duration", "est minutes", "labor minutes", "minutos"),
    "crew": ("team", "route", "cuadrilla"),
    "access": ("access notes", "notes", "instructions", "acceso", "notas"),
    "gate": ("gate code", "code", "porton"),
    "dog": ("pets", "dogs", "perro"),
    "district": ("region", "ward", "distrito"),
    "visit_from": ("from", "earliest", "open from", "desde"),
    "visit_to": ("to", "until", "latest", "open until", "hasta"),
}
"""Names of the trade and of offices, English and Spanish, as plain lower-case words."""


class Why(StrEnum):
    """Why a column is taken for one of ours."""

    SAVED = "as confirmed before"
    NAME = "same name"
    SYNONYM = "known by that name"
    SAID = "as you said"
    NONE = "left alone"
    TWICE = "another column fits as well: say which with --map"


@dataclass(frozen=True, slots=True)
class Mapped:
    """One of the office's columns: which of ours it is, if any, and why."""

    theirs: str
    ours: str | None
    why: Why


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """All of an office's columns, and values for columns it does not have."""

    columns: tuple[Mapped, ...]
    fixed: Mapping[str, str] = field(default_factory=dict)

    def plain(self) -> dict[str, dict[str, str]]:
        """Return what is worth keeping for the next time."""
        return {
            "columns": {one.theirs: one.ours for one in self.columns if one.ours is not None},
            "fixed": dict(self.fixed),
        }


def propose(
    header: Sequence[str],
    *,
    saved: Mapping[str, Mapping[str, str]] | None = None,
    said: Mapping[str, str] | None = None,
    fixed: Mapping[str, str] | None = None,
) -> ColumnMapping:
    """Propose which of an office's columns is which of ours.

    Parameters
    ----------
    header : Sequence[str]
        The office's column names.
    saved : Mapping[str, Mapping[str, str]] | None
        A mapping kept before, as ``plain`` gives it.
    said : Mapping[str, str] | None
        What somebody says now: theirs to ours; an empty name leaves a column alone.
    fixed : Mapping[str, str] | None
        Values for columns the sheet lacks.

    Returns
    -------
    ColumnMapping
        A proposal. Where two columns fit one of ours, neither is taken.

    Raises
    ------
    InputError
        If something is said of a column that is not there, or one of ours is named that is none.
    """
    kept = saved or {}
    told, values = dict(said or {}), {**kept.get("fixed", {}), **(fixed or {})}
    for theirs, ours in told.items():
        if theirs not in header:
            raise InputError(f"the sheet has no column {theirs!r}; it has {', '.join(header)}")
        if ours:
            _check_ours(ours)
    for ours in values:
        _check_ours(ours)
    found = [_mapped(name, kept.get("columns", {}), told) for name in header]
    return ColumnMapping(tuple(_once(found)), values)


def _check_ours(name: str) -> None:
    if name not in OURS:
        raise InputError(f"{name!r} is no column of ours; allowed: {', '.join(OURS)}")


def _mapped(theirs: str, saved: Mapping[str, str], said: Mapping[str, str]) -> Mapped:
    if theirs in said:
        return Mapped(theirs, said[theirs] or None, Why.SAID if said[theirs] else Why.NONE)
    if saved.get(theirs) in OURS:
        return Mapped(theirs, saved[theirs], Why.SAVED)
    name = _plain(theirs)
    for ours in OURS:
        if name == _plain(ours):
            return Mapped(theirs, ours, Why.NAME)
    for ours, names in SYNONYMS.items():
        if name in names:
            return Mapped(theirs, ours, Why.SYNONYM)
    return Mapped(theirs, None, Why.NONE)


def _plain(name: str) -> str:
    """A column's name in plain words: ``Cut height (in.)`` is ``cut height in``."""
    accents = str.maketrans("áéíóúñ²", "aeioun2")
    return " ".join(sub(r"[^a-z0-9]+", " ", name.casefold().translate(accents)).split())


def _once(found: Sequence[Mapped]) -> list[Mapped]:
    """Take none of several columns that fit one of ours, unless somebody said which."""
    firm = {one.ours for one in found if one.why is Why.SAID}
    counts = [one.ours for one in found if one.ours is not None]
    result = []
    for one in found:
        rival = one.ours is not None and counts.count(one.ours) > 1 and one.why is not Why.SAID
        taken = one.ours in firm and one.why is not Why.SAID
        result.append(Mapped(one.theirs, None, Why.TWICE) if rival or taken else one)
    return result
