"""What is said to whom: digests turned into e-mail and SMS by the templates beside this file."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template, select_autoescape

from mowalert.channels import wording
from mowalert.channels.gsm import ONE_PART_7BIT, plain, sms_size
from mowalert.domain.notices import Digest, Notice, RenderedEmail
from mowalert.domain.words import DigestKind, HoldReason, KeeperKind, NoticeKind, Units

LONGEST_SUBJECT = 60
CUTS = (NoticeKind.MOW, NoticeKind.OVERGROWN, NoticeKind.MAY_MOW)


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
    """

    def __init__(self, service_name: str, base_url: str = "", contact: str = "") -> None:
        self._service_name = service_name
        self._base_url = base_url
        self._contact = contact

    def email(self, digest: Digest) -> RenderedEmail:
        """Word an e-mail: plain text and HTML with the same facts."""
        return render_email(
            digest,
            service_name=self._service_name,
            base_url=self._base_url,
            contact=self._contact,
        )

    def sms(self, digest: Digest) -> str:
        """Word a short message of one part."""
        return render_sms(digest, service_name=self._service_name)


def render_email(
    digest: Digest, *, service_name: str, base_url: str = "", contact: str = ""
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

    Returns
    -------
    RenderedEmail
        Subject of at most 60 characters, text and HTML.
    """
    values = {
        "digest": digest,
        "units": digest.to.units,
        "groups": _groups(digest),
        "service_name": service_name,
        "base_url": base_url,
        "how_to_stop": _how_to_stop(base_url, contact),
        "subject": subject(digest),
        "hot": any(notice.best_part == "early_morning" for notice in digest.notices),
        "attributions": _attributions(digest),
        "guides": _guides(digest),
        "title": title(digest),
    }
    text = _template("digest.txt").render(values)
    return RenderedEmail(subject(digest), _tidy(text), _template("digest.html").render(values))


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("mowalert.channels"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(["html"]),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["say"] = wording
    return environment


@cache
def _template(name: str) -> Template:
    return _environment().get_template(name)


def _tidy(text: str) -> str:
    """Close up the gaps that absent parts leave."""
    lines: list[str] = []
    for line in (line.rstrip() for line in text.splitlines()):
        if line or (lines and lines[-1]):
            lines.append(line)
    return "\n".join(lines).strip() + "\n"


def _how_to_stop(base_url: str, contact: str) -> str:
    if base_url:
        return "To stop, use the unsubscribe link of your mail program."
    return f"To stop, write to {contact}." if contact else "To stop, answer this message."


Groups = dict[str, list[Notice]]


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


def _attributions(digest: Digest) -> list[str]:
    return [wording.ATTRIBUTIONS.get(name, name) for name in digest.weather.sources]


def _guides(digest: Digest) -> list[str]:
    """Say which region guides spoke, with their versions."""
    spoke = [notice.guide for notice in digest.notices if notice.guide]
    return list(dict.fromkeys(f"Region guide: {one.title}, version {one.version}" for one in spoke))


def title(digest: Digest) -> str:
    """Head the message by what it is."""
    return {
        DigestKind.WEEKEND: "Your lawn this week",
        DigestKind.MORNING_LIST: "This morning's list",
        DigestKind.PARKS_HOLDS: "Turf holds",
        DigestKind.NO_WEATHER: "No fresh weather",
    }[digest.kind]


def subject(digest: Digest) -> str:
    """Say the advice itself in at most 60 characters."""
    groups, first = _groups(digest), digest.notices[0]
    units = digest.to.units
    if digest.kind is DigestKind.NO_WEATHER:
        said = "No fresh weather: no mowing advice today"
    elif digest.kind is DigestKind.PARKS_HOLDS:
        said = _parks_subject(groups)
    elif digest.kind is DigestKind.MORNING_LIST:
        said = _list_subject(groups)
    elif first.kind is NoticeKind.HOLD and first.reason:
        said = f"Leave the lawn: {wording.hold_name(first.reason)}"
    elif first.kind is NoticeKind.RELEASE:
        said = "The hold is over: your lawn grows again"
    elif first.best_on is not None and first.cut_to_mm is not None:
        height = wording.cut_height(first.cut_to_mm, first.removed_fraction or 0.0, units)
        verb = "First of several cuts" if first.kind is NoticeKind.OVERGROWN else "Mow"
        said = f"{verb} {wording.weekday(first.best_on)} at {height}"
    else:
        said = title(digest)
    more = len(digest.notices) - 1
    if digest.kind is DigestKind.WEEKEND and more:
        said += f", and {more} more lawn{'s' if more > 1 else ''}"
    return plain(said)[:LONGEST_SUBJECT]


def _list_subject(groups: Groups) -> str:
    must, due, may = (len(groups[name]) for name in ("must", "due", "may_mow"))
    parts = [f"{must} must be cut today"] if must else []
    parts += [f"{due} due soon"] if due else []
    parts += [f"{may} may be cut"] if may else []
    parts += [f"{len(groups['hold'])} newly held"] if groups["hold"] else []
    parts += [f"{len(groups['release'])} released"] if groups["release"] else []
    return ", ".join(parts) or "Nothing is due today"


def _parks_subject(groups: Groups) -> str:
    parts = [
        f"{wording.hold_name(reason)} {verb}: {_count(members)}"
        for name, verb in (("hold", "starts"), ("release", "ends"))
        for reason, members in _by_reason(groups[name])
    ]
    said = "turf holds"
    for shown in range(len(parts), 0, -1):
        said = "; ".join(parts[:shown]) + (" and more" if shown < len(parts) else "")
        if len(said) <= LONGEST_SUBJECT:
            break
    return said[:1].upper() + said[1:]


def _by_reason(notices: Sequence[Notice]) -> list[tuple[HoldReason, list[Notice]]]:
    groups: dict[HoldReason, list[Notice]] = {}
    for notice in notices:
        if notice.reason is not None:
            groups.setdefault(notice.reason, []).append(notice)
    return list(groups.items())


def _count(notices: Sequence[Notice]) -> str:
    return f"{len(notices)} lawn{'s' if len(notices) > 1 else ''}"


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
    sender = plain(service_name)[:20]
    tail = " Reply STOP to end." if digest.first_message else ""
    body = plain(_sms_body(digest))
    room = ONE_PART_7BIT - len(tail) - len(sender) - 2
    return f"{sender}: {_shortened(body, room)}{tail}"


def _sms_body(digest: Digest) -> str:
    if digest.to.kind is not KeeperKind.HOMEOWNER or digest.kind is DigestKind.NO_WEATHER:
        return f"{subject(digest)}.{' Details by e-mail.' if digest.to.reads_email else ''}"
    first, units = digest.notices[0], digest.to.units
    more = len(digest.notices) - 1
    also = f" And {more} more lawn{'s' if more > 1 else ''}." if more else ""
    if first.kind is NoticeKind.HOLD and first.reason:
        hold = first.holds[0]
        name = wording.hold_name(first.reason)
        return f"do not mow, {name}. {wording.hold_reason(hold, units)}{also}"
    if first.best_on is None or first.cut_to_mm is None:
        return f"{subject(digest)}.{also}"
    return f"{_sms_cut(first, first.best_on, first.cut_to_mm, units)}{also}"


def _sms_cut(notice: Notice, best_on: date, cut_to_mm: float, units: Units) -> str:
    height = wording.cut_height(cut_to_mm, notice.removed_fraction or 0.0, units)
    when = wording.weekday(best_on)
    part = " evening" if notice.best_part == "evening" else ""
    start = "growth is back. First cut" if notice.kind is NoticeKind.RELEASE else "mow"
    said = f"{start} {when}{part} at {height}."
    if notice.plan is not None and len(notice.plan.cuts) > 1:
        end = notice.plan.cuts[-1]
        last = wording.cut_height(end.height_after_mm, end.removed_fraction, units)
        steps = f"{len(notice.plan.cuts)} cuts down to {last}"
        return f"{said} Then in {steps}: never over {wording.share(notice)} at once."
    if notice.limit_on is not None and notice.limit_on > best_on:
        return f"{said} By {wording.weekday(notice.limit_on)} a cut would take over {wording.share(notice)}."
    return said


def _shortened(text: str, room: int) -> str:
    """Cut a text to a number of septets at the end of a word."""
    if sms_size(text).units <= room and len(text) <= room:
        return text
    while sms_size(text + "...").units > room and " " in text:
        text = text.rsplit(" ", 1)[0]
    return text.rstrip(",;.: ")[: room - 3] + "..."
