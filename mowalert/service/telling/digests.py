"""One person's digest of a round: its notices in the order they are told, and what the message is."""

from collections.abc import Iterable, Sequence

from mowalert.domain.notices import Digest, Notice, Recipient, WeatherStamp
from mowalert.domain.words import DigestKind, KeeperKind, NoticeKind
from mowalert.service.records import KeeperRecord
from mowalert.service.telling.deciding import Group

ORDER = (
    NoticeKind.NO_WEATHER,
    NoticeKind.OVERGROWN,
    NoticeKind.MOW,
    NoticeKind.MAY_MOW,
    NoticeKind.HOLD,
    NoticeKind.RELEASE,
    NoticeKind.NOTHING_DUE,
)


def in_order(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    """Due first, what loses most by waiting before the rest; then holds and releases."""
    return tuple(
        sorted(
            notices,
            key=lambda notice: (
                ORDER.index(notice.kind),
                not notice.must_today,
                -(notice.removed_if_waiting or notice.removed_fraction or 0.0),
                notice.site_name,
                notice.lawn_id,
            ),
        )
    )


def digest_for(
    keeper: KeeperRecord, group: Group, notices: tuple[Notice, ...], stamp: WeatherStamp, *, greeted: bool
) -> Digest | None:
    """One message for one person, if there is anything to say; no weather is said once while it lasts."""
    if not notices:
        return None
    only_blind = all(notice.kind is NoticeKind.NO_WEATHER for notice in notices)
    if only_blind and keeper.no_weather_on is not None:
        return None
    to = Recipient(
        keeper.keeper_id,
        keeper.name,
        keeper.kind,
        keeper.units,
        keeper.time_zone,
        keeper.language,
        reads_email=bool(keeper.email and not keeper.email_suspended),
        link_version=keeper.link_version,
    )
    kind = _kind(keeper, notices, only_blind=only_blind)
    return Digest(kind, to, group.occurrence.on, notices, stamp, first_message=not greeted)


def _kind(keeper: KeeperRecord, notices: Sequence[Notice], *, only_blind: bool) -> DigestKind:
    if only_blind:
        return DigestKind.NO_WEATHER
    if keeper.kind is KeeperKind.HOMEOWNER:
        return DigestKind.WEEKEND
    holds = any(notice.kind in (NoticeKind.HOLD, NoticeKind.RELEASE) for notice in notices)
    parks = keeper.kind is KeeperKind.PARKS
    return DigestKind.PARKS_HOLDS if parks and holds else DigestKind.MORNING_LIST
