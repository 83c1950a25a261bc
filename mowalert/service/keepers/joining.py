"""Joining: nothing but one confirmation goes to an address that has not confirmed.

Whoever asks is shown the same answer, whether an address is known, new, or wishes never to be written to.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.words import KeeperKind
from mowalert.errors import InputError
from mowalert.languages import N_
from mowalert.links import Links
from mowalert.service.lawns.enrol import enrol, pending_keeper
from mowalert.service.ports import Store, Work
from mowalert.service.reading.lawn_rows import LawnRow, Problem, read_row
from mowalert.service.reading.lawn_table import SAME_PLACE_DEG, ImportReport, keeper_key
from mowalert.service.records import KeeperRecord, SignupRecord, SiteRecord
from mowalert.service.region.guides import guides_now
from mowalert.service.telling.letters import Letters, post

ASKED, CONFIRMED = "asked", "confirmed"
"""Consent of a keeper who has asked, and of one who has confirmed."""
UNCONFIRMED = N_("not confirmed")
"""Why nothing is sent to a phone whose owner has not answered yet."""
FACTS = (
    "keeper", "email", "phone", "latitude", "longitude", "time_zone", "units", "site", "address", "grass",
    "height_mm", "guide", "soil", "watering", "sun", "mowing_days",
)  # fmt: skip
"""What a form may tell; the rest is the program's usual."""


@dataclass(frozen=True, slots=True)
class FloodLimits:
    """How often somebody may ask us to write to an address, per address and per sender."""

    per_address_day: int = 3
    per_sender_hour: int = 10
    per_day: int = 2000


@dataclass(frozen=True, slots=True)
class Joined:
    """A confirmed sign-up: whose it is, their lawn, and its weather cell."""

    keeper: KeeperRecord
    lawn_id: int
    cell_id: int


def read_form(
    facts: Mapping[str, str], turf: Turf, store: Store, *, now: datetime
) -> LawnRow | list[Problem]:
    """Read what a form tells of a lawn; every bad answer is named.

    Parameters
    ----------
    facts : Mapping[str, str]
        Text by name, as in ``FACTS``.
    turf : Turf
        Grasses and soils.
    store : Store
        Where region guides are.
    now : datetime
        The moment.

    Returns
    -------
    LawnRow | list[Problem]
        The lawn, or everything wrong.
    """
    with store.begin() as work:
        guides = guides_now(work, turf)
    told = {name: facts.get(name, "") for name in FACTS}
    told |= {"kind": KeeperKind.HOMEOWNER.value, "keeper": told["keeper"] or _usual_name(told)}
    return read_row(told, line=1, turf=turf, guides=guides, now=now)


def _usual_name(told: Mapping[str, str]) -> str:
    return told["email"].partition("@")[0] or told["phone"] or "keeper"


def ask_to_join(
    store: Store,
    turf: Turf,
    letters: Letters,
    links: Links,
    facts: Mapping[str, str],
    *,
    sender: str,
    now: datetime,
    limits: FloodLimits | None = None,
) -> bool:
    """Keep a sign-up and ask its address to confirm.

    Parameters
    ----------
    store : Store
        Where sign-ups are kept.
    turf : Turf
        Grasses and soils.
    letters : Letters
        Words the confirmation.
    links : Links
        Signs its link.
    facts : Mapping[str, str]
        A form that ``read_form`` reads well.
    sender : str
        Who asks, such as a network address; kept only as a mark.
    now : datetime
        The moment.
    limits : FloodLimits | None
        How often one may ask.

    Returns
    -------
    bool
        Whether a confirmation was queued; the page says the same either way.

    Raises
    ------
    InputError
        If the form is not good.
    """
    row = read_form(facts, turf, store, now=now)
    if not isinstance(row, LawnRow):
        raise InputError("; ".join(map(str, row)))
    limits = limits or FloodLimits()
    with store.begin() as work:
        allowed = may_write(work, links, row.email or row.phone or "", sender, now=now, limits=limits)
        queued = False
        if row.phone and not _may_text(work, links, row, now=now, limits=limits):
            # A mailbox of one's own must not open somebody else's phone; without it only the phone was left.
            allowed, row = allowed and bool(row.email), replace(row, phone=None)
        if allowed:
            keeper = _keeper_of(work, row, now)
            told = {name: facts.get(name, "") for name in FACTS}
            told |= {"keeper": keeper.name, "phone": row.phone or ""}
            signup_id = work.signups.add(SignupRecord(0, keeper.keeper_id, told, now))
            letter = letters.confirm(keeper, links.confirm_url(signup_id, now=now))
            queued = post(work, keeper, letter, "confirm", now=now, host=letters.host)
        work.commit()
    return queued


def _may_text(work: Work, links: Links, row: LawnRow, *, now: datetime, limits: FloodLimits) -> bool:
    """Whether a phone may be asked to confirm, counting it where it stands beside an e-mail address.

    One that has said stop, to whoever's name, has to text START itself.
    """
    phone = row.phone or ""
    if any(keeper.phone_suspended not in (None, UNCONFIRMED) for keeper in work.keepers.by_phone(phone)):
        return False
    if not row.email:
        return True
    mark = links.mark(phone)
    if work.signups.is_silenced(mark) or _asked_today(work, mark, now) >= limits.per_address_day:
        return False
    work.signups.attempt("address", mark, at=now)
    return True


def _asked_today(work: Work, mark: str | None, now: datetime) -> int:
    return work.signups.attempts("address", mark, since=now - timedelta(days=1))


def _keeper_of(work: Work, row: LawnRow, now: datetime) -> KeeperRecord:
    known = work.keepers.by_key(keeper_key(row))
    if known is not None:
        return known
    keeper = replace(pending_keeper(work, row, now=now), consent=ASKED, consent_from="page")
    if keeper.phone and keeper.email:
        keeper = replace(keeper, phone_suspended=UNCONFIRMED)
    return replace(keeper, keeper_id=work.keepers.add(keeper))


def may_write(
    work: Work, links: Links, address: str, sender: str, *, now: datetime, limits: FloodLimits
) -> bool:
    """Whether an address may be written to on somebody's word, and count that they asked."""
    counted, asker = links.mark(_mailbox(address)), links.mark(f"sender {sender}")
    free = (
        not work.signups.is_silenced(links.mark(address))
        and _asked_today(work, counted, now) < limits.per_address_day
        and work.signups.attempts("sender", asker, since=now - timedelta(hours=1)) < limits.per_sender_hour
        and _asked_today(work, None, now) < limits.per_day
    )
    work.signups.attempt("sender", asker, at=now)
    if free:
        work.signups.attempt("address", counted, at=now)
    return free


def _mailbox(address: str) -> str:
    """Return where an address leads: what follows a plus sign is a name of the same mailbox."""
    name, at, host = address.rpartition("@")
    return f"{name.partition('+')[0]}{at}{host}" if at else address


def confirm(
    store: Store, turf: Turf, letters: Letters, signup_id: int, *, cell_degrees: float, now: datetime
) -> Joined | None:
    """Take an address's confirmation: enrol its lawn, once.

    Parameters
    ----------
    store : Store
        Where sign-ups are kept.
    turf : Turf
        Grasses and soils.
    letters : Letters
        Asks a phone to confirm too.
    signup_id : int
        What the link says.
    cell_degrees : float
        Side of a weather cell. [°]
    now : datetime
        The moment.

    Returns
    -------
    Joined | None
        Whose lawn it is; none if the sign-up is no longer kept. A second time changes nothing.
    """
    with store.begin() as work:
        signup = work.signups.get(signup_id)
        keeper = None if signup is None else work.keepers.get([signup.keeper_id]).get(signup.keeper_id)
        if signup is None or keeper is None:
            return None
        if signup.confirmed_at is None:
            work.signups.confirmed(signup_id, at=now)
            if keeper.consent == ASKED:
                keeper = replace(keeper, consent=CONFIRMED, consent_at=now, email_suspended=None)
                work.keepers.change(keeper)
            if keeper.phone and keeper.phone_suspended == UNCONFIRMED:
                post(work, keeper, letters.confirm_phone(keeper), "confirm", now=now, host=letters.host)
            work.commit()
    if signup.confirmed_at is None:
        _enrol(store, turf, signup.facts, cell_degrees=cell_degrees, now=now)
    return _joined(store, keeper.keeper_id)


def _enrol(store: Store, turf: Turf, facts: Mapping[str, str], *, cell_degrees: float, now: datetime) -> None:
    row = read_form(facts, turf, store, now=now)
    if not isinstance(row, LawnRow):
        raise InputError("; ".join(map(str, row)))
    row = _beside_others(store, row)
    # A mailbox that confirms speaks for itself, not for a phone that somebody typed beside it.
    row = replace(row, said=row.said - {"phone"})
    enrol(store, turf, [row], ImportReport(), source="page", cell_degrees=cell_degrees, now=now)


def _beside_others(store: Store, row: LawnRow) -> LawnRow:
    """Name a further lawn of somebody so that it stands beside their others and changes none of them."""
    with store.begin() as work:
        keeper = work.keepers.by_key(keeper_key(row))
        lawns = [] if keeper is None else work.lawns.of_keepers([keeper.keeper_id])
        sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns})).values()
    here = next((site for site in sites if _is_at(site, row)), None)
    if here is None:
        return replace(row, site=_free(row.site, {site.key for site in sites}))
    taken = {lawn.key for lawn in lawns if lawn.site_id == here.site_id}
    return replace(row, site=here.name, lawn=_free(row.lawn, taken))


def _is_at(site: SiteRecord, row: LawnRow) -> bool:
    away = abs(site.latitude_deg - row.latitude_deg) + abs(site.longitude_deg - row.longitude_deg)
    return away < SAME_PLACE_DEG


def _free(name: str, taken: set[str]) -> str:
    names = (name, *(f"{name} {number}" for number in range(2, len(taken) + 3)))
    return next(one for one in names if one.casefold() not in taken)


def _joined(store: Store, keeper_id: int) -> Joined | None:
    with store.begin() as work:
        keeper = work.keepers.get([keeper_id])[keeper_id]
        lawns = work.lawns.of_keepers([keeper_id])
        if not lawns:
            return None
        newest = max(lawns, key=lambda lawn: lawn.lawn_id)
        site = work.keepers.sites([newest.site_id])[newest.site_id]
    return Joined(keeper, newest.lawn_id, site.cell_id)


def send_link(
    store: Store,
    letters: Letters,
    links: Links,
    address: str,
    *,
    sender: str,
    now: datetime,
    limits: FloodLimits | None = None,
) -> None:
    """Send whoever is enrolled under an address the link to their pages; tell nobody whether anyone is."""
    with store.begin() as work:
        keepers = [keeper for keeper in work.keepers.by_email(address) if keeper.consent != ASKED]
        allowed = may_write(work, links, address, sender, now=now, limits=limits or FloodLimits())
        for keeper in keepers if allowed else ():
            url = links.page_url(keeper.keeper_id, keeper.link_version, now=now)
            post(work, keeper, letters.page_link(keeper, url), "link", now=now, host=letters.host)
        work.commit()
