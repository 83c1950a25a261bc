"""Builders that show only what matters to a test."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from mowalert.domain.decide import Outlook, Round
from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.holds import LASTING
from mowalert.domain.lawn import Anchor, LawnFacts, due_after
from mowalert.domain.notices import Digest, HoldFacts, Notice, OutgoingMessage, Recipient, WeatherStamp
from mowalert.domain.words import (
    Channel,
    Clippings,
    DigestKind,
    HoldReason,
    KeeperKind,
    NoticeKind,
    Silence,
    Units,
)
from mowalert.parameters import load_turf
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, LawnRecord, NewMessage
from mowalert.settings import config_file

TURF: Turf = load_turf(config_file("grasses.toml"))
BLUEGRASS: Grass = TURF.grasses["kentucky_bluegrass"]
THURSDAY = date(2026, 5, 7)
NOW = datetime(2026, 5, 7, 22, 5, tzinfo=UTC)
LONG_URL = "https://mow.example.org/stop/" + "token." * 60
WEEKEND = frozenset({5, 6})
WEEKEND_ROUND = Round(THURSDAY, THURSDAY + timedelta(days=1), THURSDAY + timedelta(days=7), False)
MORNING_ROUND = Round(THURSDAY, THURSDAY, THURSDAY + timedelta(days=1), True)


def a_lawn(*, height_mm: float = 75.0, chosen_mm: float = 75.0, **changes: Any) -> LawnFacts:
    """A bluegrass lawn that stands at a height on THURSDAY evening."""
    due = due_after(BLUEGRASS, chosen_mm, pace=1.0, from_height_mm=height_mm, from_growth_mm=0.0)
    lawn = LawnFacts(
        lawn_id=1,
        lawn_name="front",
        site_name="Home",
        address="1 Elm Lane",
        grass=BLUEGRASS,
        chosen_mm=chosen_mm,
        pace=1.0,
        anchor=Anchor(THURSDAY, height_mm, 0.0),
        due=due,
        mowing_days=WEEKEND,
        mowing_hours=(9, 18),
        clippings=Clippings.LEAVE,
    )
    return replace(lawn, **changes)


def an_outlook(
    *,
    growth_mm_d: float = 4.0,
    held: dict[int, tuple[HoldReason, ...]] | None = None,
    rain_mm: dict[int, float] | None = None,
    fresh: bool = True,
    t_max_c: float = 20.0,
    t_min_c: float = 10.0,
) -> Outlook:
    """Ten days from THURSDAY; holds and rain by days ahead."""
    days = np.arange(10.0)
    masks = [
        float(sum(1 << LASTING.index(reason) for reason in (held or {}).get(day, ()))) for day in range(10)
    ]
    rain = np.array([(rain_mm or {}).get(day, 0.0) for day in range(10)])
    return Outlook(
        first_on=THURSDAY,
        growth_mm=days * growth_mm_d,
        gdd_c=days * 10,
        holds=np.array(masks),
        water_stress=np.full(10, 0.3 if held else 1.0),
        heat_load=np.zeros(10),
        t_min_c=np.full(10, t_min_c),
        t_max_c=np.full(10, t_max_c),
        rain_mm=rain,
        rain_in_hours_mm=rain,
        since={},
        fresh=fresh,
    )


def thursdays(work: Work) -> int:
    """A round of Thursday evenings in New York; its number."""
    return work.rounds.ensure(
        daily_list=False, time_zone="America/New_York", weekdays=8, minute_of_day=1080, mixed=False
    )


def a_keeper(**changes: Any) -> KeeperRecord:
    keeper = KeeperRecord(
        keeper_id=0,
        key="homeowner|ann|ann@example.org",
        name="Ann",
        kind=KeeperKind.HOMEOWNER,
        email="ann@example.org",
        phone=None,
        time_zone="America/New_York",
        units=Units.US,
        language="en",
        silence=Silence.CUT,
        tells_all_holds=False,
        round_id=1,
        consent="operator",
        consent_at=NOW,
        consent_from="a test",
    )
    return replace(keeper, **changes)


def a_lawn_record(**changes: Any) -> LawnRecord:
    lawn = LawnRecord(
        lawn_id=0,
        site_id=1,
        keeper_id=1,
        round_id=1,
        stand_id=1,
        key="front",
        name="front",
        grass="kentucky_bluegrass",
        chosen_mm=75.0,
        nitrogen=None,
        area_m2=None,
        turf_class="",
        mowing_days=96,
        mow_from_h=9,
        mow_to_h=18,
        clippings=Clippings.LEAVE,
        learned=1.0,
        pace=1.0,
        anchored_on=THURSDAY,
        anchor_height_mm=75.0,
        anchor_g_mm=0.0,
        anchor_assumed=False,
        window_g_mm=25.0,
        limit_g_mm=37.5,
    )
    return replace(lawn, **changes)


def a_mail(**changes: Any) -> OutgoingMessage:
    mail = OutgoingMessage(
        message_id=7,
        keeper_id=1,
        channel=Channel.EMAIL,
        address="ann@example.org",
        subject="Mow Saturday at 3 in",
        text="Mow: Saturday, 3½ in\n",
        html="<p>Mow: Saturday, 3½ in</p>",
        rfc_message_id="<abc123@mow.example.org>",
        unsubscribe_url=LONG_URL,
        created_at=NOW,
        useful_until=NOW,
    )
    return replace(mail, **changes)


def a_message(**changes: Any) -> NewMessage:
    message = NewMessage(
        keeper_id=1,
        channel=Channel.EMAIL,
        kind="weekend",
        local_date=THURSDAY,
        address="ann@example.org",
        subject="Mow Saturday",
        text="text",
        html="<p>text</p>",
        rfc_message_id="<abc@example.org>",
        unsubscribe_url="",
        lawn_ids=(1,),
        round_id=1,
        created_at=NOW,
        not_before=NOW,
        useful_until=NOW + timedelta(days=2),
    )
    return replace(message, **changes)


def a_notice(kind: NoticeKind = NoticeKind.MOW, **changes: Any) -> Notice:
    """A notice with everything its kind needs."""
    hold = HoldFacts(HoldReason.DROUGHT, THURSDAY, (("water_stress", 0.35),))
    held = kind is NoticeKind.HOLD
    cut = kind in (NoticeKind.MOW, NoticeKind.OVERGROWN, NoticeKind.MAY_MOW, NoticeKind.RELEASE)
    notice = Notice(
        lawn_id=1,
        kind=kind,
        on=THURSDAY,
        lawn_name="front",
        site_name="Home",
        address="1 Elm Lane",
        grass_name="Kentucky bluegrass",
        turf_class="lawn",
        chosen_height_mm=76.2,
        height_mm=95.0,
        last_cut_on=date(2026, 4, 30),
        last_cut_assumed=False,
        grown_mm=19.0,
        gdd_c=80.0,
        reason=HoldReason.DROUGHT if held or kind is NoticeKind.RELEASE else None,
        holds=(hold,) if held else (),
        best_on=date(2026, 5, 9) if cut else None,
        cut_to_mm=76.2 if cut else None,
        removed_fraction=0.26 if cut else None,
        limit_on=date(2026, 5, 11),
        wait_until=date(2026, 5, 16) if cut else None,
        removed_if_waiting=0.38 if cut else None,
    )
    return replace(notice, **changes)


def a_digest(*notices: Notice, kind: DigestKind = DigestKind.WEEKEND, **changes: Any) -> Digest:
    keeper_kind = changes.pop("keeper_kind", KeeperKind.HOMEOWNER)
    units = changes.pop("units", Units.US)
    to = Recipient(1, "Ann Example", keeper_kind, units, "America/New_York")
    stamp = WeatherStamp(("nws",), NOW, True)
    return replace(Digest(kind, to, THURSDAY, tuple(notices), stamp), **changes)
