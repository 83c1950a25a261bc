"""Digests of every kind, and the words a reader of their HTML sees."""

from dataclasses import replace
from datetime import date, timedelta
from html.parser import HTMLParser
from typing import Any

from builders import THURSDAY, a_digest, a_notice

from mowalert.domain.notices import Digest, GuideSaid, HoldFacts, MowingPlan, Notice, PlannedCut
from mowalert.domain.words import DigestKind, HoldReason, KeeperKind, NoticeKind

SATURDAY = date(2026, 5, 9)
HOLDS = (
    HoldFacts(HoldReason.HEAT, THURSDAY, (("t_max_c", 35.0), ("heat_load", 14.0), ("water_stress", 0.3))),
    HoldFacts(HoldReason.DROUGHT, THURSDAY, (("water_stress", 0.35),), expected_end_on=SATURDAY),
    HoldFacts(HoldReason.DORMANT, THURSDAY, (("water_stress", 0.1),)),
    HoldFacts(HoldReason.COLD, THURSDAY, (("mean_10_days_c", 3.0),)),
    HoldFacts(HoldReason.WATERLOGGED, THURSDAY, (("rain_48_h_mm", 31.0),)),
    HoldFacts(HoldReason.FROST, THURSDAY, (("rain_48_h_mm", 0.0),)),
    HoldFacts(HoldReason.NESTING, THURSDAY, (), ended_on=SATURDAY, note="ground-nesting birds"),
)


def a_plan() -> MowingPlan:
    cuts = (
        PlannedCut(SATURDAY, 150.0, 100.0, 1 / 3),
        PlannedCut(SATURDAY + timedelta(days=3), 108.0, 76.2, 0.29),
    )
    return MowingPlan(cuts, reaches_chosen=True)


def a_hold(facts: HoldFacts = HOLDS[1], **changes: Any) -> Notice:
    return a_notice(NoticeKind.HOLD, reason=facts.reason, holds=(facts,), **changes)


SAID = GuideSaid(
    "hill", 3, "Hill country", 80.0, 100.0, (("mow", "en", "Sharp!"), ("mow", "es", "¡Afilada!"))
)
MOW = a_notice()
OVERGROWN = a_notice(NoticeKind.OVERGROWN, plan=a_plan(), cut_to_mm=100.0, removed_fraction=1 / 3)
RELEASE = a_notice(NoticeKind.RELEASE)
MUST = a_notice(must_today=True, best_on=THURSDAY, site_name="3 Elm Yard")
MAY = a_notice(NoticeKind.MAY_MOW, site_name="4 Elm Yard", best_on=None, wait_until=None)
DIGESTS: dict[str, Digest] = {
    "mow this weekend": a_digest(MOW),
    "two lawns": a_digest(MOW, replace(MOW, lawn_id=2, lawn_name="back")),
    "overgrown": a_digest(OVERGROWN),
    "hold starts": a_digest(a_hold()),
    "hold ends": a_digest(RELEASE),
    "no weather": a_digest(a_notice(NoticeKind.NO_WEATHER), kind=DigestKind.NO_WEATHER),
    "morning list": a_digest(
        MUST, MOW, MAY, a_hold(), kind=DigestKind.MORNING_LIST, keeper_kind=KeeperKind.COMPANY
    ),
    "parks holds": a_digest(
        a_hold(turf_class="sports", site_name="River Oval"),
        a_hold(HOLDS[0], turf_class="sports", site_name="Hill Green"),
        a_notice(NoticeKind.RELEASE, turf_class="verge", site_name="Ring Road"),
        kind=DigestKind.PARKS_HOLDS,
        keeper_kind=KeeperKind.PARKS,
    ),
}


class Words(HTMLParser):
    """The words a reader of HTML sees."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.seen: list[str] = []
        self._hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self._hidden += tag in ("style", "title")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("style", "title")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.seen.append(data)

    def __str__(self) -> str:
        return " ".join(" ".join(self.seen).split())
