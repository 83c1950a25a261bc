"""Region guides: kept by version, spoken for by the newest, followed by the lawns that asked for it.

A version once kept is never changed: what was told under it can be told again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import lru_cache

from mowalert.domain.decide import Outlook
from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.guides import DATED, Guide, use_of, with_guide
from mowalert.domain.holds import without
from mowalert.domain.lawn import LawnFacts
from mowalert.domain.notices import HoldFacts
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.service.growing.anchoring import kept_at, place_kept
from mowalert.service.growing.outlook import lawn_facts
from mowalert.service.known import known_lawn, reason_named
from mowalert.service.local.restrictions import height_caps
from mowalert.service.park_records import RestrictionRecord
from mowalert.service.ports import Store, Work
from mowalert.service.records import GuideRecord, KeptOff, LawnRecord, SiteRecord
from mowalert.service.region.guide_text import read_guide

LONGEST_DAYS = 400
"""Days a lawn may be left alone by one entry."""


@dataclass(frozen=True, slots=True)
class GuideKept:
    """What keeping a guide did: whether it was new, and the lawns whose due dates moved."""

    guide: Guide
    new: bool
    lawns: int


def keep_guide(store: Store, turf: Turf, text: str, *, name: str, now: datetime) -> GuideKept:
    """Keep a version of a guide; from now on its lawns hear from it.

    Parameters
    ----------
    store : Store
        Where guides are kept.
    turf : Turf
        Grasses it may speak of.
    text : str
        The guide's TOML.
    name : str
        The file, for messages.
    now : datetime
        The moment.

    Returns
    -------
    GuideKept
        The guide, and what changed. The same text a second time changes nothing.

    Raises
    ------
    ConfigError
        If anything in the text is wrong.
    InputError
        If that version is kept with other words, or a newer one is.
    """
    guide = read_guide(text, turf, name=name)
    with store.begin() as work:
        versions = work.guides.versions(guide.guide_id)
        if any(one.version == guide.version and one.text == text for one in versions):
            return GuideKept(guide, new=False, lawns=0)
        if versions and versions[-1].version >= guide.version:
            raise InputError(
                f"{name}: version {versions[-1].version} of {guide.guide_id} is kept already and is never "
                f"changed; give this one version {versions[-1].version + 1}"
            )
        work.guides.keep(GuideRecord(guide.guide_id, guide.version, text, now))
        moved = _share_with_lawns(work, turf, guide)
        work.commit()
    return GuideKept(guide, new=True, lawns=moved)


def _share_with_lawns(work: Work, turf: Turf, guide: Guide) -> int:
    """Give a guide's lawns its share of the blade; how many it changed."""
    lawns = [lawn for lawn in work.guides.lawns(guide.guide_id) if lawn.third != guide.third]
    changes = [(lawn, replace(lawn, third=guide.third)) for lawn in lawns]
    for _, changed in changes:
        work.lawns.change(changed)
    place_kept(work, turf, changes)
    return len(lawns)


def guides_now(work: Work, turf: Turf) -> dict[str, Guide]:
    """Return the newest version of every guide, by id."""
    return {record.guide_id: _parsed(record.text, turf) for record in work.guides.newest()}


def guide_of(work: Work, turf: Turf, guide_id: str, version: int) -> Guide | None:
    """Return one version of a guide; none if it was never kept."""
    record = work.guides.get(guide_id, version)
    return None if record is None else _parsed(record.text, turf)


def _parsed(text: str, turf: Turf) -> Guide:
    return _parsed_once(text, tuple(turf.grasses.values()))


@lru_cache(maxsize=256)
def _parsed_once(text: str, grasses: tuple[Grass, ...]) -> Guide:
    """Every round and page asks for the guides, and a text that is kept never changes."""
    return read_guide(text, Turf({grass.grass_id: grass for grass in grasses}, {}))


@dataclass(frozen=True, slots=True)
class Speakers:
    """Who speaks of lawns beside the weather: region guides, and dates that somebody set."""

    guides: Mapping[str, Guide]
    kept_off: Mapping[int, Sequence[KeptOff]]
    ignoring: Mapping[tuple[int, str], tuple[HoldReason, ...]] = field(default_factory=dict)
    restrictions: Mapping[int, Sequence[RestrictionRecord]] = field(default_factory=dict)

    def outlook(self, lawn: LawnRecord, outlook: Outlook) -> Outlook:
        """See a stand's days as the lawn's turf class does: holds that it ignores are none."""
        ignored = self.ignoring.get((lawn.keeper_id, lawn.turf_class.strip().casefold()))
        return outlook if ignored is None else replace(outlook, holds=without(outlook.holds, ignored))

    def facts(self, lawn: LawnRecord, site: SiteRecord, turf: Turf, *, today: date) -> LawnFacts:
        """See a stored lawn as the decision does, its guide and its dates included."""
        dated = tuple(
            HoldFacts(days.reason, days.first_on, ended_on=days.last_on, note=days.note)
            for days in self.kept_off.get(lawn.lawn_id, ())
        )
        guide = self.guides.get(lawn.guide or "")
        facts = lawn_facts(lawn, site, turf, dated_holds=dated)
        facts = facts if guide is None else with_guide(facts, guide, today=today)
        return self._capped(facts, lawn, site, today)

    def _capped(self, facts: LawnFacts, lawn: LawnRecord, site: SiteRecord, today: date) -> LawnFacts:
        """Of several height caps the lowest counts."""
        if lawn.keeper_id not in self.restrictions:
            return facts
        caps = height_caps(self.restrictions, [lawn], {site.site_id: site}, on=today)
        known = [cap for cap in (facts.height_cap_mm, caps.get(lawn.lawn_id)) if cap is not None]
        return replace(facts, height_cap_mm=min(known)) if known else facts


def speakers(work: Work, turf: Turf, lawns: Sequence[LawnRecord], *, today: date) -> Speakers:
    """Load who speaks of some lawns on a day."""
    guided = any(lawn.guide for lawn in lawns)
    return Speakers(
        guides_now(work, turf) if guided else {},
        work.lawns.kept_off([lawn.lawn_id for lawn in lawns], since=today),
        work.parks.ignoring(sorted({lawn.keeper_id for lawn in lawns if lawn.turf_class})),
        work.parks.restrictions(sorted({lawn.keeper_id for lawn in lawns}), since=today),
    )


def guides_with_dates(work: Work, turf: Turf, on: date) -> list[str]:
    """Return the guides that leave some turf alone on a day."""
    return [
        guide.guide_id
        for guide in guides_now(work, turf).values()
        if any(dates.span.holds(on) for dates in guide.dates)
    ]


def follow_guides(store: Store, turf: Turf, *, today: date) -> int:
    """Move lawns that follow a guide to the height of its season.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    today : date
        The day whose heights count.

    Returns
    -------
    int
        How many lawns got another height; they grow on from where they stand.
    """
    moved = 0
    with store.begin() as work:
        for guide in guides_now(work, turf).values():
            for row in (row for row in guide.heights if row.span.holds(today)):
                for lawn in work.guides.followers(guide.guide_id, row.grass_id, not_at_mm=row.usual_mm):
                    if guide.height(lawn.grass, lawn.turf_class, today) == row:
                        kept = kept_at(work, turf, lawn, row.usual_mm)
                        work.lawns.change(kept)
                        place_kept(work, turf, [(lawn, kept)])
                        moved += 1
        work.commit()
    return moved


def keep_off(
    store: Store,
    lawn_id: int,
    *,
    reason: HoldReason,
    first_on: date,
    last_on: date,
    note: str,
    now: datetime,
) -> KeptOff:
    """Leave a lawn alone on some days, both included.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    lawn_id : int
        The lawn.
    reason : HoldReason
        ``treatment``, ``event``, ``nesting`` or ``noise``.
    first_on : date
        First day.
    last_on : date
        Last day.
    note : str
        What is said with it.
    now : datetime
        The moment.

    Returns
    -------
    KeptOff
        What was kept.

    Raises
    ------
    InputError
        If there is no such lawn, the days cannot be, or the reason is the weather's to give.
    """
    reason_named(reason, DATED)
    if last_on < first_on:
        raise InputError(f"the last day, {last_on}, lies before the first, {first_on}")
    if (last_on - first_on).days > LONGEST_DAYS:
        raise InputError(f"{first_on} to {last_on} is longer than {LONGEST_DAYS} days")
    with store.begin() as work:
        known_lawn(work, lawn_id)
        days = KeptOff(0, lawn_id, reason, first_on, last_on, note[:200], now)
        days = replace(days, kept_off_id=work.lawns.keep_off(days))
        work.commit()
    return days


def treated(store: Store, turf: Turf, lawn_id: int, *, kind: str, on: date, now: datetime) -> KeptOff:
    """Leave a lawn alone around a treatment, as long as its guide says.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses, for the lawn's guide.
    lawn_id : int
        The lawn.
    kind : str
        A kind of treatment the guide knows.
    on : date
        Day of the treatment.
    now : datetime
        The moment.

    Returns
    -------
    KeptOff
        What was kept: a later version of the guide does not move it.

    Raises
    ------
    InputError
        If the lawn has no guide, or its guide does not know the treatment.
    """
    with store.begin() as work:
        guide = guides_now(work, turf).get(known_lawn(work, lawn_id).guide or "")
    if guide is None:
        raise InputError(f"lawn {lawn_id} has no region guide: say the days with --from and --to")
    use = use_of(kind)
    days = guide.treated(use, on)
    if days is None:
        known = ", ".join(sorted(guide.treatments or {})) or "none"
        raise InputError(f"{kind!r} is no treatment of {guide.title}; it knows {known}")
    note = f"{use.replace('_', ' ')} on {on.isoformat()}; interval by {guide.title}, version {guide.version}"
    return keep_off(
        store, lawn_id, reason=HoldReason.TREATMENT, first_on=days[0], last_on=days[1], note=note, now=now
    )


def allow_again(store: Store, kept_off_id: int, *, now: datetime) -> KeptOff:
    """Take days back on which a lawn was to be left alone; InputError if there are none of that number."""
    with store.begin() as work:
        days = work.lawns.allow_again(kept_off_id, at=now)
        if days is None:
            raise InputError(f"there are no such days with number {kept_off_id}")
        work.commit()
    return days
