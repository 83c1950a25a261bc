"""What a keeper wishes: silence for a while or for good, another height, other days, other words."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.rounds import as_weekdays
from mowalert.domain.words import Channel, Sun, Units, Watering
from mowalert.errors import InputError, Millimetres
from mowalert.languages import LANGUAGES, N_
from mowalert.service.growing.anchoring import kept_at, place_kept
from mowalert.service.known import known_lawn
from mowalert.service.lawns.enrol import settle_round
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord, LawnRecord

LONGEST_PAUSE_D = 400
STOPPED = N_("stopped by the keeper")
"""Why nothing is sent to an address whose owner said stop."""
SUSPENDED = {Channel.EMAIL: "email_suspended", Channel.SMS: "phone_suspended"}
"""Where a keeper says why nothing goes out on a channel."""


@dataclass(frozen=True, slots=True)
class LawnWish:
    """How a lawn is to be from now on; none leaves it as it is. Height in mm, days Monday 0."""

    height_mm: float | None = None
    watering: Watering | None = None
    sun: Sun | None = None
    mowing_days: frozenset[int] | None = None


def pause(store: Store, keeper_id: int, *, until: date | None, today: date) -> KeeperRecord:
    """Say nothing up to and on a day; none ends the pause.

    Parameters
    ----------
    store : Store
        Where keepers are kept.
    keeper_id : int
        Whose silence it is.
    until : date | None
        Last silent day.
    today : date
        The keeper's local day.

    Returns
    -------
    KeeperRecord
        As they are now.

    Raises
    ------
    InputError
        If the day is past or too far off.
    """
    if until is not None and until < today:
        raise InputError(N_("{day} is past"), day=until)
    if until is not None and until > today + timedelta(days=LONGEST_PAUSE_D):
        raise InputError(N_("{day} is more than {days} days away"), day=until, days=LONGEST_PAUSE_D)
    return _changed(store, keeper_id, paused_until=until)


def stop(store: Store, keeper_id: int, channels: frozenset[Channel], *, at: datetime) -> KeeperRecord:
    """Send nothing more on some channels; what waits is cancelled."""
    with store.begin() as work:
        work.outbox.cancel_waiting(keeper_id, channels, at=at)
        keeper = _change(work, keeper_id, **{SUSPENDED[channel]: STOPPED for channel in channels})
        work.commit()
    return keeper


def start(store: Store, keeper_id: int, channel: Channel) -> KeeperRecord:
    """Send again on a channel that its owner had stopped, or that had failed."""
    return _changed(store, keeper_id, **{SUSPENDED[channel]: None})


def speak(store: Store, keeper_id: int, *, language: str, units: Units) -> KeeperRecord:
    """Tell a keeper things in their language and units; InputError for a language we have not."""
    if language not in LANGUAGES:
        raise InputError(f"{language!r} is no language of ours; there are {', '.join(LANGUAGES)}")
    return _changed(store, keeper_id, language=language, units=units)


def renew_links(store: Store, keeper_id: int) -> KeeperRecord:
    """Make every private link of a keeper void that was given out before."""
    with store.begin() as work:
        keeper = _change(work, keeper_id, link_version=_keeper(work, keeper_id).link_version + 1)
        work.commit()
    return keeper


def _changed(store: Store, keeper_id: int, **values: object) -> KeeperRecord:
    with store.begin() as work:
        keeper = _change(work, keeper_id, **values)
        work.commit()
    return keeper


def _change(work: Work, keeper_id: int, **values: object) -> KeeperRecord:
    keeper = replace(_keeper(work, keeper_id), **values)  # type: ignore[arg-type]
    work.keepers.change(keeper)
    return keeper


def _keeper(work: Work, keeper_id: int) -> KeeperRecord:
    keeper: Mapping[int, KeeperRecord] = work.keepers.get([keeper_id])
    if keeper_id not in keeper:
        raise InputError("there is no such keeper")
    return keeper[keeper_id]


def change_lawn(store: Store, turf: Turf, lawn_id: int, wish: LawnWish) -> LawnRecord:
    """Keep a lawn another way from now on.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    lawn_id : int
        The lawn.
    wish : LawnWish
        What changes.

    Returns
    -------
    LawnRecord
        As it is now; a height of its own no longer follows a guide.

    Raises
    ------
    InputError
        If there is no such lawn, or its grass is not kept at that height.
    """
    with store.begin() as work:
        known = known_lawn(work, lawn_id)
        lawn = _as_wished(work, turf, known, wish)
        work.lawns.change(lawn)
        place_kept(work, turf, [(known, lawn)])
        settle_round(work, lawn.keeper_id)
        (lawn,) = work.lawns.get([lawn_id])
        work.commit()
    return lawn


def _as_wished(work: Work, turf: Turf, lawn: LawnRecord, wish: LawnWish) -> LawnRecord:
    grass, height_mm = turf.grasses[lawn.grass], wish.height_mm or lawn.chosen_mm
    if not grass.lowest_mm <= height_mm <= grass.highest_mm:
        raise InputError(
            N_("this grass is kept at {least} to {most}, not at {told}"),
            least=Millimetres(grass.lowest_mm),
            most=Millimetres(grass.highest_mm),
            told=Millimetres(height_mm),
        )
    return replace(
        kept_at(work, turf, lawn, height_mm, sun=wish.sun, watering=wish.watering),
        follows_guide=lawn.follows_guide and wish.height_mm is None,
        mowing_days=lawn.mowing_days if wish.mowing_days is None else as_weekdays(wish.mowing_days),
    )
