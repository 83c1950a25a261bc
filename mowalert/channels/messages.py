"""What is said to whom: digests turned into e-mail and SMS by the templates beside this file."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from functools import lru_cache, partial
from typing import NamedTuple

from markupsafe import Markup

from mowalert.channels.forms import Both, fill
from mowalert.channels.gsm import ONE_PART_7BIT, PLAIN, plain, sms_size
from mowalert.channels.lawn_words import cut_words, hold_words, row_words
from mowalert.channels.rendering import template, tidy
from mowalert.channels.wording import Wording, wording_in
from mowalert.domain.notices import ClassNotice, ClassStep, DayPart, Digest, Notice, RenderedEmail
from mowalert.domain.words import DigestKind, HoldReason, KeeperKind, NoticeKind, Units
from mowalert.languages import N_, sentence
from mowalert.links import Links

LONGEST_SUBJECT = 60
TITLES = {
    DigestKind.WEEKEND: N_("Your lawn this week"),
    DigestKind.MORNING_LIST: N_("This morning's list"),
    DigestKind.PARKS_HOLDS: N_("Turf holds"),
    DigestKind.CLASS_HOLDS: N_("Turf holds"),
    DigestKind.NO_WEATHER: N_("No fresh weather"),
}


Groups = dict[str, list[Notice]]


class DigestWords(NamedTuple):
    """What a message says around its lawns; empty where it does not."""

    subject: str
    title: str
    day: str
    how_to_stop: str
    text: str
    html: Markup
    hot: bool
    someone_mows: bool
    credits: tuple[str, ...]
    weather_of: str
    page_url: str
    stop_url: str
    service_name: str
    base_url: str


class Messages:
    """Words digests in the service's name.

    Parameters
    ----------
    service_name : str
        Who messages say they are from.
    base_url : str
        Public address of the pages; empty for none.
    contact : str
        Address people can write to; empty for none.
    links : Links | None
        Signs links to pages; none without pages.
    """

    def __init__(
        self, service_name: str, base_url: str = "", contact: str = "", links: Links | None = None
    ) -> None:
        self._service_name = service_name
        self._base_url = base_url
        self._contact = contact
        self._links = links

    def email(self, digest: Digest) -> RenderedEmail:
        """Word an e-mail: plain text and HTML with the same facts."""
        return render_email(
            digest,
            service_name=self._service_name,
            base_url=self._base_url,
            contact=self._contact,
            links=self._links,
        )

    def sms(self, digest: Digest) -> str:
        """Word a short message of one part."""
        return render_sms(digest, service_name=self._service_name)


def render_email(
    digest: Digest,
    *,
    service_name: str,
    base_url: str = "",
    contact: str = "",
    links: Links | None = None,
) -> RenderedEmail:
    """Word a digest as an e-mail.

    Parameters
    ----------
    digest : Digest
        Its facts.
    service_name : str
        Who it is from.
    base_url : str
        Public address of the pages; empty for none.
    contact : str
        Address people can write to; empty for none.
    links : Links | None
        Signs links to pages; none without pages.

    Returns
    -------
    RenderedEmail
        Subject of at most 60 characters, text and HTML.
    """
    say = wording_in(digest.to.language)
    groups, said = _groups(digest), subject(digest)
    body = _body(digest, groups, say, links)
    words = DigestWords(
        subject=said,
        title=title(digest),
        day=say.day(digest.on, digest.to.units),
        how_to_stop=_how_to_stop(say, base_url, contact) if digest.first_message else "",
        text=body.text,
        html=Markup(body.html),  # noqa: S704 - escaped
        hot=any(notice.best_part is DayPart.EARLY_MORNING for notice in digest.notices),
        someone_mows=any(groups[name] for name in ("must", "due", "may_mow", "release")),
        credits=_credits(digest, say),
        weather_of=_moment(digest.weather.fetched_at),
        page_url=_page_url(digest, links),
        stop_url=digest.to.stop_url,
        service_name=service_name,
        base_url=base_url,
    )
    mail = fill("digest", say.language, words)
    return RenderedEmail(said, tidy(mail.text), mail.html)


def _body(digest: Digest, groups: Groups, say: Wording, links: Links | None) -> Both:
    """What a digest says of lawns, and of the day's dangers to whoever works outdoors."""
    if digest.kind is DigestKind.WEEKEND:
        parts = list(_lawns_told(digest, groups, say, links))
    else:
        name = "digest_no_weather" if digest.kind is DigestKind.NO_WEATHER else "digest_list"
        parts = [_rendered(name, digest, groups, say)]
    if digest.warnings or digest.crew_heat:
        parts.append(_rendered("digest_dangers", digest, groups, say))
    html = [part.html for part in parts if part.html]
    return Both("\n".join([part.text for part in parts]), "\n".join(html))


def _lawns_told(digest: Digest, groups: Groups, say: Wording, links: Links | None) -> Iterator[Both]:
    """Lawns of one keeper, each told in full."""
    units = digest.to.units
    tappable = None if digest.to.contact_id else links
    for name in ("must", "due", "hold", "release"):
        for notice in groups[name]:
            if notice.kind is NoticeKind.HOLD:
                yield fill("digest_hold", say.language, hold_words(notice, say, units))
            else:
                mowed_url = _mowed_url(tappable, notice)
                yield fill("digest_cut", say.language, cut_words(notice, say, units, mowed_url=mowed_url))


def _rendered(name: str, digest: Digest, groups: Groups, say: Wording) -> Both:
    """What organisations are told: lists, each of its own shape."""
    units = digest.to.units
    values = {
        "digest": digest,
        "groups": groups,
        "units": units,
        "row": partial(_row, say=say, units=units),
        "hold_words": partial(hold_words, say=say, units=units),
    }
    text, html = (template(f"{name}.{kind}", say.language).render(values) for kind in ("txt", "html"))
    return Both(text, html.rstrip("\n"))


def _row(notice: Notice, *, say: Wording, units: Units, best: bool = False) -> Both:
    """A lawn in a list; of one that may wait the best day is said."""
    return fill("digest_row", say.language, row_words(notice, say, units, best=best))


def _page_url(digest: Digest, links: Links | None) -> str:
    """Where a keeper's own pages are; the same for the same digest, whenever it is worded."""
    if links is None or digest.to.contact_id:
        return ""
    return links.page_url(digest.to.keeper_id, digest.to.link_version, now=_midnight(digest.on))


def _mowed_url(links: Links | None, notice: Notice) -> str:
    """Where one tap records the advised cut; only for lawns whose keeper is told a day."""
    if links is None or notice.best_on is None:
        return ""
    return links.mowed_url(notice.lawn_id, notice.best_on, now=_midnight(notice.on))


@lru_cache(maxsize=64)
def _moment(fetched_at: datetime | None) -> str:
    return f"{fetched_at:%Y-%m-%d %H:%M}" if fetched_at else ""


@lru_cache(maxsize=64)
def _midnight(on: date) -> datetime:
    return datetime(on.year, on.month, on.day, tzinfo=UTC)


def _how_to_stop(say: Wording, base_url: str, contact: str) -> str:
    if base_url:
        return say.gettext("To stop, use the unsubscribe link of your mail program.")
    if contact:
        return say.gettext("To stop, write to {contact}.").format(contact=contact)
    return say.gettext("To stop, answer this message.")


def _groups(digest: Digest) -> Groups:
    """Notices by what they ask for, in the order they are told."""
    groups: Groups = defaultdict(list)
    for notice in digest.notices:
        cut = notice.kind in (NoticeKind.MOW, NoticeKind.OVERGROWN)
        name = "must" if cut and notice.must_today else "due" if cut else notice.kind.value
        groups[name].append(notice)
    return {
        name: groups.get(name, [])
        for name in ("must", "due", "may_mow", "hold", "release", "no_weather", "nothing_due")
    }


def _credits(digest: Digest, say: Wording) -> tuple[str, ...]:
    """Say where the weather is from, and which region guides spoke, with their versions."""
    sources = [say.attribution(name) for name in digest.weather.sources]
    spoke = [notice.guide for notice in digest.notices if notice.guide]
    named = say.gettext("Region guide: {title}, version {version}")
    guides = dict.fromkeys(named.format(title=one.title, version=one.version) for one in spoke)
    return (*sources, *guides)


def title(digest: Digest) -> str:
    """Head the message by what it is."""
    return wording_in(digest.to.language).gettext(TITLES[digest.kind])


def subject(digest: Digest) -> str:
    """Say the advice itself in at most 60 characters."""
    say = wording_in(digest.to.language)
    said, more = _advice(digest, say), len(digest.notices) - 1
    if digest.kind is DigestKind.WEEKEND and more:
        also = say.ngettext("{advice}, and {count} more lawn", "{advice}, and {count} more lawns", more)
        said = also.format(advice=said, count=more)
    # Fractions and dashes in plain characters; a mail's subject keeps its accents.
    return said.translate(PLAIN)[:LONGEST_SUBJECT]


def _advice(digest: Digest, say: Wording) -> str:
    if digest.kind is DigestKind.NO_WEATHER:
        return say.gettext("No fresh weather: no mowing advice today")
    if digest.kind in (DigestKind.PARKS_HOLDS, DigestKind.CLASS_HOLDS):
        return _parks_subject(digest, say)
    if digest.kind is DigestKind.MORNING_LIST:
        return _list_subject(_groups(digest), say)
    first = digest.notices[0]
    if first.kind is NoticeKind.HOLD and first.reason:
        return say.gettext("Leave the lawn: {hold}").format(hold=say.hold_name(first.reason))
    if first.kind is NoticeKind.RELEASE:
        return say.gettext("The hold is over: your lawn grows again")
    if first.best_on is None or first.cut_to_mm is None:
        return title(digest)
    said = (
        say.gettext("First of several cuts {weekday} at {height}")
        if first.kind is NoticeKind.OVERGROWN
        else say.gettext("Mow {weekday} at {height}")
    )
    height = say.cut_height(first.cut_to_mm, first.removed_fraction or 0.0, digest.to.units)
    return said.format(weekday=say.weekday(first.best_on), height=height)


def _list_subject(groups: Groups, say: Wording) -> str:
    must, due, may, held, released = (
        len(groups[name]) for name in ("must", "due", "may_mow", "hold", "release")
    )
    counted = (
        (must, say.ngettext("{count} must be cut today", "{count} must be cut today", must)),
        (due, say.ngettext("{count} due soon", "{count} due soon", due)),
        (may, say.ngettext("{count} may be cut", "{count} may be cut", may)),
        (held, say.ngettext("{count} newly held", "{count} newly held", held)),
        (released, say.ngettext("{count} released", "{count} released", released)),
    )
    parts = [said.format(count=count) for count, said in counted if count]
    return ", ".join(parts) or say.gettext("Nothing is due today")


def _parks_subject(digest: Digest, say: Wording) -> str:
    groups = _groups(digest)
    parts = [
        said.format(hold=say.hold_name(reason), lawns=_lawns(count, say))
        for name, step, said in (
            ("hold", ClassStep.STARTED, say.gettext("{hold} starts: {lawns}")),
            ("release", ClassStep.RELEASED, say.gettext("{hold} ends: {lawns}")),
            ("", ClassStep.ESCALATED, say.gettext("{hold} runs long: {lawns}")),
            ("", ClassStep.OVER_CAP, say.gettext("{hold} meets a height limit: {lawns}")),
        )
        for reason, count in _by_reason(groups.get(name, []), digest.classes, step).items()
    ]
    return sentence(_fitting(parts, say))


def _fitting(parts: Sequence[str], say: Wording) -> str:
    """As many parts as a subject has room for, and at least one."""
    said = say.gettext("turf holds")
    for shown in range(len(parts), 0, -1):
        said = "; ".join(parts[:shown])
        if shown < len(parts):
            said = say.gettext("{holds} and more").format(holds=said)
        if len(said) <= LONGEST_SUBJECT:
            break
    return said


def _by_reason(
    notices: Sequence[Notice], classes: Sequence[ClassNotice], step: ClassStep
) -> dict[HoldReason, int]:
    """How many lawns a hold starts or ends for, one by one and with their class."""
    counts: dict[HoldReason, int] = {}
    for notice in notices:
        if notice.reason is not None:
            counts[notice.reason] = counts.get(notice.reason, 0) + 1
    for said in classes:
        if said.step is step:
            counts[said.reason] = counts.get(said.reason, 0) + len(said.lawns)
    return counts


def _lawns(count: int, say: Wording) -> str:
    return say.ngettext("{count} lawn", "{count} lawns", count).format(count=count)


def render_sms(digest: Digest, *, service_name: str) -> str:
    """Word a digest as one short message of one part in the basic alphabet.

    Parameters
    ----------
    digest : Digest
        Its facts.
    service_name : str
        Who it is from.

    Returns
    -------
    str
        At most 160 septets; the first message names the sender and how to stop.
    """
    say = wording_in(digest.to.language)
    sender = plain(service_name)[:20]
    stop = plain(say.gettext("Reply STOP to end."))
    # Of people of an organisation nobody remembers which message was their first.
    tail = f" {stop}" if digest.first_message or digest.to.contact_id else ""
    body = plain(" ".join(_sms_sentences(digest, say)))
    room = ONE_PART_7BIT - len(tail) - len(sender) - 2
    return f"{sender}: {_shortened(body, room)}{tail}"


def _sms_sentences(digest: Digest, say: Wording) -> Iterator[str]:
    if digest.kind is DigestKind.CLASS_HOLDS and not digest.to.reads_email:
        yield _sms_classes(digest, say)
        return
    if digest.to.kind is not KeeperKind.HOMEOWNER or digest.kind is DigestKind.NO_WEATHER:
        yield f"{subject(digest)}."
        if digest.to.reads_email:
            yield say.gettext("Details by e-mail.")
        return
    yield from _sms_advice(digest, digest.notices[0], say)
    if more := len(digest.notices) - 1:
        yield say.ngettext("And {count} more lawn.", "And {count} more lawns.", more).format(count=more)


def _sms_classes(digest: Digest, say: Wording) -> str:
    """One class by its title; of several the count, and which they are."""
    if len(digest.classes) == 1:
        return f"{say.class_title(digest.classes[0])}."
    return f"{subject(digest)}. {', '.join(say.class_place(one) for one in digest.classes)}."


def _sms_advice(digest: Digest, first: Notice, say: Wording) -> Iterator[str]:
    units = digest.to.units
    if first.kind is NoticeKind.HOLD and first.reason:
        why = say.hold_reason(first.holds[0], units)
        yield say.gettext("do not mow, {hold}. {why}").format(hold=say.hold_name(first.reason), why=why)
    elif first.best_on is None or first.cut_to_mm is None:
        yield f"{subject(digest)}."
    else:
        height = say.cut_height(first.cut_to_mm, first.removed_fraction or 0.0, units)
        yield _sms_cut(first, say).format(weekday=say.weekday(first.best_on), height=height)
        yield from _sms_after(first, first.best_on, units, say)


def _sms_cut(notice: Notice, say: Wording) -> str:
    evening = notice.best_part == DayPart.EVENING
    if notice.kind is NoticeKind.RELEASE and evening:
        return say.gettext("growth is back. First cut {weekday} evening at {height}.")
    if notice.kind is NoticeKind.RELEASE:
        return say.gettext("growth is back. First cut {weekday} at {height}.")
    if evening:
        return say.gettext("mow {weekday} evening at {height}.")
    return say.gettext("mow {weekday} at {height}.")


def _sms_after(notice: Notice, best_on: date, units: Units, say: Wording) -> Iterator[str]:
    """Say what comes after the cut: more cuts, or what it costs to wait."""
    share = say.share(notice)
    if notice.plan is not None and len(notice.plan.cuts) > 1:
        end = notice.plan.cuts[-1]
        height = say.cut_height(end.height_after_mm, end.removed_fraction, units)
        said = say.gettext("Then in {count} cuts down to {height}: never over {share} at once.")
        yield said.format(count=len(notice.plan.cuts), height=height, share=share)
    elif notice.limit_on is not None and notice.limit_on > best_on:
        said = say.gettext("By {weekday} a cut would take over {share}.")
        yield said.format(weekday=say.weekday(notice.limit_on), share=share)


def _shortened(text: str, room: int) -> str:
    """Cut a text to a number of septets at the end of a word."""
    if sms_size(text).units <= room and len(text) <= room:
        return text
    while sms_size(text + "...").units > room and " " in text:
        text = text.rsplit(" ", 1)[0]
    return text.rstrip(",;.: ")[: room - 3] + "..."
