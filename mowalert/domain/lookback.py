"""A season looked back on: what was cut, grown, held and told, and which groups of lawns may be shown."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from mowalert.domain.arrays import Floats
from mowalert.domain.thirds import Removal, removal, removed_fraction
from mowalert.domain.words import HoldReason, NoticeKind

FEWEST_LAWNS = 10
"""Figures of fewer lawns are never shown to others than their keeper; a working value of the threshold
rule of published statistics, where agencies ask for three to ten."""
MOST_GROUPS = 20
"""Groups shown of one grouping, the largest; more make no table one can read."""
YEAR_DAYS = 365
ADVISED_AHEAD_DAYS = 15
"""How far after a notice a cut it advised may lie: ten days of forecast, the next chance, a day's grace."""
HOLD_BEFORE_DAYS = 400
"""How far before a season a hold may have been told that still lasted in it."""
HOLDS = (NoticeKind.HOLD, NoticeKind.RELEASE)
MOW_NOTICES = (NoticeKind.MOW, NoticeKind.OVERGROWN)
"""Notices that advise a cut on a day; that a lawn may be mown is no advice to do it."""
Cell = tuple[str, ...]
"""The groups a lawn is in, one of each grouping."""
NOTHING = 1e-9


@dataclass(frozen=True, slots=True)
class Period:
    """Days looked back on, both included."""

    first_on: date
    last_on: date

    def __contains__(self, on: date) -> bool:
        return self.first_on <= on <= self.last_on


@dataclass(frozen=True, slots=True)
class Cut:
    """A cut that was reported, or assumed from silence; heights are none where nobody knows. [mm]"""

    on: date
    after_mm: float | None
    before_mm: float | None
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What was told of a lawn; ``advised_on`` is the day a cut was advised for."""

    on: date
    kind: NoticeKind
    reason: HoldReason | None = None
    advised_on: date | None = None


@dataclass(frozen=True, slots=True)
class Bite:
    """The share of the blade one cut took, when, and of which lawn."""

    removed_fraction: float
    on: date
    lawn_id: int


@dataclass(frozen=True, slots=True)
class Tally:
    """A season of some lawns in a form that can be added up.

    ``bands`` counts reported cuts by the share they took, none where the height before is unknown;
    ``days_between`` counts spans between two cuts, ``spaced_lawns`` the lawns that have any.
    """

    lawns: int = 0
    bands: Counter[Removal | None] = field(default_factory=Counter)
    assumed: int = 0
    biggest: Bite | None = None
    days_between: Counter[int] = field(default_factory=Counter)
    spaced_lawns: int = 0
    grown_mm: float = 0.0
    holds: Counter[HoldReason] = field(default_factory=Counter)
    hold_days: Counter[HoldReason] = field(default_factory=Counter)
    mow_notices: int = 0
    mow_followed: int = 0

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            lawns=self.lawns + other.lawns,
            bands=self.bands + other.bands,
            assumed=self.assumed + other.assumed,
            biggest=_bigger(self.biggest, other.biggest),
            days_between=self.days_between + other.days_between,
            spaced_lawns=self.spaced_lawns + other.spaced_lawns,
            grown_mm=self.grown_mm + other.grown_mm,
            holds=self.holds + other.holds,
            hold_days=self.hold_days + other.hold_days,
            mow_notices=self.mow_notices + other.mow_notices,
            mow_followed=self.mow_followed + other.mow_followed,
        )


@dataclass(frozen=True, slots=True)
class HoldsTold:
    """How often a hold was told, and the days those holds lasted, each lawn counted."""

    reason: HoldReason
    times: int
    days: int


@dataclass(frozen=True, slots=True)
class Figures:
    """A season as it is shown.

    ``cuts`` are reported ones: on time, near misses, too much, severe, and those whose share is
    unknown. ``mow_followed`` of ``mow_notices`` were followed by a cut by the day after the one advised.
    """

    lawns: int
    cuts: int
    cuts_assumed: int
    on_time: int
    near_miss: int
    too_much: int
    severe: int
    share_unknown: int
    biggest_bite: Bite | None
    median_days_between: float | None
    grown_mm: float
    holds: tuple[HoldsTold, ...]
    mow_notices: int
    mow_followed: int


def season_until(last_on: date, *, southern: bool) -> Period:
    """Return the season that a day ends: its year so far, or twelve months where the year's end is summer."""
    first_on = last_on - timedelta(days=YEAR_DAYS - 1) if southern else date(last_on.year, 1, 1)
    return Period(first_on, last_on)


def count_season(lawn_id: int, cuts: Sequence[Cut], told: Sequence[Told], period: Period) -> Tally:
    """Count one lawn's season.

    Parameters
    ----------
    lawn_id : int
        The lawn.
    cuts : Sequence[Cut]
        Its cuts in order, none of them taken back; those after the period only answer notices within it.
    told : Sequence[Told]
        What was told of it, in order; holds from before the period count the days they lasted in it.
    period : Period
        The days looked back on.

    Returns
    -------
    Tally
        Its season.
    """
    within = [cut for cut in cuts if cut.on in period]
    reported = [cut for cut in within if not cut.assumed]
    shares = [(share, cut.on) for cut in reported if (share := _share(cut)) is not None]
    days_between = Counter(_days_between(within))
    held = list(_held_days(told, period))
    advised = [said for said in told if said.kind in MOW_NOTICES and said.on in period]
    return Tally(
        lawns=1,
        bands=Counter(None if (share := _share(cut)) is None else removal(share) for cut in reported),
        assumed=len(within) - len(reported),
        biggest=max((Bite(*share, lawn_id) for share in shares), key=_bitten, default=None),
        days_between=days_between,
        spaced_lawns=int(bool(days_between)),
        grown_mm=_grown_mm(within),
        holds=Counter(reason for reason, _ in held),
        hold_days=_summed(held),
        mow_notices=len(advised),
        mow_followed=sum(_followed(said, cuts) for said in advised),
    )


def _share(cut: Cut) -> float | None:
    if cut.before_mm is None or cut.after_mm is None:
        return None
    return removed_fraction(max(cut.before_mm, cut.after_mm), cut.after_mm)


def _bitten(bite: Bite) -> tuple[float, date]:
    return bite.removed_fraction, bite.on


def _bigger(one: Bite | None, other: Bite | None) -> Bite | None:
    return max((bite for bite in (one, other) if bite is not None), key=_bitten, default=None)


def _days_between(cuts: Sequence[Cut]) -> Iterator[int]:
    """Days between cuts that follow one another; beside an assumed cut nobody knows them."""
    for one, after in pairwise(cuts):
        if not (one.assumed or after.assumed) and after.on > one.on:
            yield (after.on - one.on).days


def _grown_mm(cuts: Sequence[Cut]) -> float:
    """Growth from one cut to the next, where both heights are known; grass never shrinks."""
    return sum(
        max(0.0, after.before_mm - one.after_mm)
        for one, after in pairwise(cuts)
        if after.before_mm is not None and one.after_mm is not None
    )


def _held_days(told: Sequence[Told], period: Period) -> Iterator[tuple[HoldReason, int]]:
    """Each hold told and the days of the period it lasted; a hold of another reason ends the one before."""
    began: Told | None = None
    for said in (said for said in told if said.kind in HOLDS):
        again = began is not None and (said.kind, said.reason) == (began.kind, began.reason)
        if not again:
            yield from _lasted(began, said.on, period)
            began = said if said.kind is NoticeKind.HOLD else None
    yield from _lasted(began, period.last_on + timedelta(days=1), period)


def _lasted(hold: Told | None, until: date, period: Period) -> Iterator[tuple[HoldReason, int]]:
    if hold is None or hold.reason is None:
        return
    if hold.on in period or hold.on < period.first_on < until:
        start, end = max(hold.on, period.first_on), min(until, period.last_on + timedelta(days=1))
        yield hold.reason, (end - start).days


def _summed(held: Sequence[tuple[HoldReason, int]]) -> Counter[HoldReason]:
    days: Counter[HoldReason] = Counter()
    for reason, lasted in held:
        days[reason] += lasted
    return days


def _followed(said: Told, cuts: Sequence[Cut]) -> bool:
    """Whether a cut was reported by the day after the one advised."""
    latest = (said.advised_on or said.on) + timedelta(days=1)
    return any(not cut.assumed and said.on <= cut.on <= latest for cut in cuts)


def figures(tally: Tally, *, of_a_region: bool = False) -> Figures:
    """Return a season as it is shown.

    Parameters
    ----------
    tally : Tally
        What was counted.
    of_a_region : bool
        Whether others than the lawns' keeper see it: then no single cut is shown, and no median of
        fewer lawns than ``FEWEST_LAWNS``.

    Returns
    -------
    Figures
        The same, as people read it.
    """
    tells_median = not of_a_region or tally.spaced_lawns >= FEWEST_LAWNS
    return Figures(
        lawns=tally.lawns,
        cuts=tally.bands.total(),
        cuts_assumed=tally.assumed,
        on_time=tally.bands[Removal.GOOD],
        near_miss=tally.bands[Removal.NEAR_MISS],
        too_much=tally.bands[Removal.TOO_MUCH],
        severe=tally.bands[Removal.SEVERE],
        share_unknown=tally.bands[None],
        biggest_bite=None if of_a_region else tally.biggest,
        median_days_between=_median(tally.days_between) if tells_median else None,
        grown_mm=tally.grown_mm,
        holds=tuple(
            HoldsTold(reason, tally.holds[reason], tally.hold_days[reason])
            for reason in HoldReason
            if tally.holds[reason]
        ),
        mow_notices=tally.mow_notices,
        mow_followed=tally.mow_followed,
    )


def _median(counts: Counter[int]) -> float | None:
    """Median of numbers that are counted, not listed: a country has millions of them."""
    last = counts.total() - 1
    return None if last < 0 else (_at(counts, last // 2) + _at(counts, last - last // 2)) / 2


def _at(counts: Counter[int], place: int) -> int:
    """Return the number at a place in the order of size."""
    for number in sorted(counts):
        place -= counts[number]
        if place < 0:
            return number
    raise IndexError(place)


def shown_tallies(tallies: Mapping[Cell, Tally]) -> tuple[dict[str | None, Tally], ...]:
    """Add lawns up by group, the groups that may be shown and the rest of each grouping.

    Parameters
    ----------
    tallies : Mapping[Cell, Tally]
        What was counted, by the groups of the lawns.

    Returns
    -------
    tuple[dict[str | None, Tally], ...]
        By grouping: groups, the largest first, then under ``None`` all others together; nothing where
        no group may be shown.
    """
    lawns = {cell: tally.lawns for cell, tally in tallies.items()}
    return tuple(_added(tallies, place, names) for place, names in enumerate(shown_groups(lawns)))


def _added(tallies: Mapping[Cell, Tally], place: int, names: frozenset[str]) -> dict[str | None, Tally]:
    added: dict[str | None, Tally] = {}
    for cell, tally in tallies.items():
        name = cell[place] if cell[place] in names else None
        added[name] = added.get(name, Tally()) + tally
    ordered = sorted(added.items(), key=lambda item: (item[0] is None, -item[1].lawns, item[0] or ""))
    return dict(ordered) if names else {}


def shown_groups(lawns: Mapping[Cell, int]) -> tuple[frozenset[str], ...]:
    """Choose the groups that may be shown beside the total, the rest of their groupings and one another.

    Parameters
    ----------
    lawns : Mapping[Cell, int]
        How many lawns are in which groups.

    Returns
    -------
    tuple[frozenset[str], ...]
        Names by grouping; earlier groupings come first, and within one the largest groups.

    Notes
    -----
    Whoever sees figures can add and subtract them, across groupings too. Any such sum counts the lawns
    of each cell by some factor. Groups are shown only where no sum that can be made of all that is shown
    has factors other than zero for fewer than ``FEWEST_LAWNS`` lawns: neither a small group nor a
    contrast of few lawns with few others can be worked out.
    """
    shown = tuple(frozenset[str]() for _ in next(iter(lawns), ()))
    for place, name in _largest_first(lawns):
        more = tuple(names | {name} if at == place else names for at, names in enumerate(shown))
        if not _tells_of_few(lawns, more):
            shown = more
    return shown


def _largest_first(lawns: Mapping[Cell, int]) -> Iterator[tuple[int, str]]:
    """Groups large enough to be shown, grouping by grouping."""
    for place, names in enumerate(zip(*lawns, strict=True)):
        sizes: Counter[str] = Counter()
        for name, count in zip(names, lawns.values(), strict=True):
            sizes[name] += count
        ordered = sorted(sizes, key=lambda name: (-sizes[name], name))
        yield from ((place, name) for name in ordered[:MOST_GROUPS] if sizes[name] >= FEWEST_LAWNS)


def _tells_of_few(lawns: Mapping[Cell, int], shown: Sequence[frozenset[str]]) -> bool:
    """Whether figures of few lawns could be worked out from the total and the groups shown."""
    counts: Counter[tuple[str | None, ...]] = Counter()
    for cell, count in lawns.items():
        counts[_as_shown(cell, shown)] += count
    groups = [(place, name) for place, names in enumerate(shown) for name in names]
    total = np.ones(len(counts))
    sums = [total, *(np.array([float(cell[place] == name) for cell in counts]) for place, name in groups)]
    weights = np.array(list(counts.values()), dtype=float)
    return _touches_few(_independent(np.array(sums)), weights, FEWEST_LAWNS - 1)


def _as_shown(cell: Cell, shown: Sequence[frozenset[str]]) -> tuple[str | None, ...]:
    return tuple(name if name in names else None for name, names in zip(cell, shown, strict=True))


def _touches_few(sums: Floats, lawns: Floats, spare: float) -> bool:
    """Whether some mix of sums, not zero everywhere, touches no more lawns than a number.

    ``sums`` has the shape (sum, cell) and independent rows, ``lawns`` the shape (cell,). The search goes
    through cells from the heaviest on; it is short, since each cell left untouched takes a row away.
    """
    sums, lawns = _alike_joined(sums, lawns)
    if not len(sums):
        return False
    if lawns.sum() <= spare:
        return True
    heavy = lawns > spare
    if heavy.any():
        return _touches_few(_vanishing(sums, heavy), lawns, spare)
    # The mix either vanishes on the heaviest cell or touches it.
    heaviest = lawns == lawns.max()
    heaviest[np.argmax(heaviest) + 1 :] = False
    if _touches_few(_vanishing(sums, heaviest), lawns, spare):
        return True
    rest = sums[:, ~heaviest]
    if len(_independent(rest)) < len(sums):
        return True
    return _touches_few(rest, lawns[~heaviest], spare - float(lawns.max()))


def _independent(sums: Floats) -> Floats:
    """Return rows that span the same and do not depend on one another."""
    _, sizes, rows = np.linalg.svd(sums, full_matrices=False)
    return np.asarray(rows[sizes > NOTHING])


def _vanishing(sums: Floats, cells: NDArray[np.bool_]) -> Floats:
    """Return the mixes of sums that are zero on some cells."""
    mixes, sizes, _ = np.linalg.svd(sums[:, cells])
    return np.asarray(mixes[:, int(np.sum(sizes > NOTHING)) :].T @ sums)


def _alike_joined(sums: Floats, lawns: Floats) -> tuple[Floats, Floats]:
    """Join cells that every mix of sums touches together, and leave out those none touches."""
    touched = np.abs(sums).max(axis=0, initial=0.0) > NOTHING
    sums, lawns = sums[:, touched], lawns[touched]
    if not len(sums):
        return sums, lawns
    first = np.argmax(np.abs(sums) > NOTHING, axis=0)
    directions = np.round(sums / sums[first, np.arange(sums.shape[1])], 6) + 0.0
    _, kept, joined = np.unique(directions, axis=1, return_index=True, return_inverse=True)
    return sums[:, kept], np.asarray(np.bincount(joined.ravel(), weights=lawns), dtype=float)
