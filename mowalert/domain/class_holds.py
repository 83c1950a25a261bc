"""Holds of whole turf classes: one start and one end for a district, whatever its lawns do in between.

A class's hold begins with its first lawn. It is over when its last one is free and the forecast holds
none of them again within two days: heat waves have cool days. Lawns that come under it or leave it meanwhile
are written down and not told of; nor is a change of the reason, save that winter takes over.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from mowalert.domain.decide import Outlook
from mowalert.domain.holds import TOLD, told_in
from mowalert.domain.notices import HoldFacts, Notice
from mowalert.domain.words import HoldReason, NoticeKind

FREE_AHEAD_D = 2
"""Days ahead on which none of a class's lawns may be forecast to be held. Working value."""
LONG_AFTER_D = 14
"""Days after which a hold is told to run long."""
WITHOUT_CLASS = "lawn"
"""The class of turf that is in none."""


@dataclass(frozen=True, slots=True)
class ClassHold:
    """A class's hold as it stands: its lawns with the day each came under it, why, and the day it left.

    It began on ``started_on``, as the turf sees it, and was told on ``told_on``.
    """

    turf_class: str
    district: str
    reason: HoldReason
    started_on: date
    told_on: date
    joined: dict[int, date] = field(default_factory=dict)
    left: dict[int, date] = field(default_factory=dict)
    why: dict[int, HoldReason] = field(default_factory=dict)
    escalated_on: date | None = None

    @property
    def held(self) -> set[int]:
        """Lawns that are under it now."""
        return self.joined.keys() - self.left.keys()


def is_of_class(notice: Notice) -> bool:
    """Whether a notice is of a hold its class may share: the weather's, not a date somebody set."""
    return notice.kind in (NoticeKind.HOLD, NoticeKind.RELEASE) and notice.reason in TOLD


def with_held(
    hold: ClassHold | None, notices: Sequence[Notice], *, turf_class: str, district: str
) -> ClassHold:
    """Return a class's hold after lawns came under it; a new one where there was none.

    Parameters
    ----------
    hold : ClassHold | None
        The hold as it stood; none where the class was free.
    notices : Sequence[Notice]
        Of its lawns that are held from now on, at least one.
    turf_class : str
        The class.
    district : str
        The district; empty for the whole organisation.

    Returns
    -------
    ClassHold
        With the lawns in it; one that had left and is held again is in it again.
    """
    reason = notices[0].reason or HoldReason.HEAT
    began = min((fact.started_on for notice in notices for fact in notice.holds), default=notices[0].on)
    known = hold or ClassHold(turf_class, district, reason, began, notices[0].on)
    ids = {notice.lawn_id: notice.on for notice in notices}
    return replace(
        known,
        reason=HoldReason.COLD if winter_takes_over(hold, notices) else known.reason,
        joined={**ids, **known.joined},
        left={lawn_id: on for lawn_id, on in known.left.items() if lawn_id not in ids},
        why=known.why | {notice.lawn_id: notice.reason or reason for notice in notices},
    )


def winter_takes_over(hold: ClassHold | None, notices: Sequence[Notice]) -> bool:
    """Whether a hold of heat or drought is winter's from now on, which is told."""
    if hold is None or hold.reason is HoldReason.COLD:
        return False
    return any(notice.reason is HoldReason.COLD for notice in notices)


def with_left(hold: ClassHold, lawn_ids: Sequence[int], *, on: date) -> ClassHold:
    """Return a class's hold after some of its lawns were released."""
    return replace(hold, left={**hold.left, **{one: on for one in lawn_ids if one in hold.held}})


def stays_free(outlook: Outlook, *, on: date) -> bool:
    """Whether a lawn is known to be free of such holds from a day on for as long as a release looks ahead."""
    days = (on + timedelta(days=ahead) for ahead in range(FREE_AHEAD_D + 1))
    return outlook.fresh and not any(told_in(float(outlook.holds[outlook.at(day)])) for day in days)


def runs_long(hold: ClassHold, *, on: date) -> bool:
    """Whether it is to be told, once, that a hold runs long."""
    # Counted from the day it was told: the start of an older one says itself since when it lasts.
    return hold.escalated_on is None and (on - hold.told_on).days > LONG_AFTER_D


def worst_facts(notices: Sequence[Notice]) -> HoldFacts | None:
    """Return the facts of the lawn that is worst off: hottest, then driest."""
    facts = [notice.holds[0] for notice in notices if notice.holds]

    def rank(one: HoldFacts) -> tuple[float, float]:
        numbers = dict(one.facts)
        return numbers.get("t_max_c", 0.0), -numbers.get("water_stress", 1.0)

    return max(facts, key=rank, default=None)


def cut_after_release(notice: Notice) -> Notice | None:
    """Return what a lawn that is free before its class is told: its first cut, once its window is open."""
    if notice.best_on is None or notice.window_on is None or notice.best_on < notice.window_on:
        return None
    kind = NoticeKind.OVERGROWN if notice.plan is not None and len(notice.plan.cuts) > 1 else NoticeKind.MOW
    return replace(notice, kind=kind, reason=None)
