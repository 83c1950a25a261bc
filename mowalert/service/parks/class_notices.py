"""What is said of turf classes, to whom: department, supervisors, and the owner where a hold runs long."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from hashlib import sha256

from mowalert.domain.notices import ClassNotice, ClassStep, Digest, Recipient
from mowalert.domain.words import Channel, DigestKind
from mowalert.service.crew_records import ContactRecord, Role
from mowalert.service.crews.people import Occasion, Post, own_contact
from mowalert.service.growing.outlook import load_stands, weather_stamp
from mowalert.service.local.official import warnings_for
from mowalert.service.parks.class_holds import ClassDay, keep_log
from mowalert.service.ports import Words

USEFUL_FOR = timedelta(days=14)
"""How long a hold's start or end is worth telling: what nobody heard of is not recorded as told."""
HEARS = {
    Role.SUPERVISOR: frozenset(ClassStep),
    Role.OWNER: frozenset({ClassStep.ESCALATED}),
}
"""What people of an organisation hear of its classes; the others hear nothing."""


@dataclass(frozen=True, slots=True)
class ClassesTold:
    """How many digests and messages were written."""

    digests: int = 0
    messages: int = 0


def tell_classes(post: Post, words: Words, day: ClassDay) -> ClassesTold:
    """Write what a day says of classes to everybody who hears of it, and keep the log with their names.

    Parameters
    ----------
    post : Post
        Writes to the department's people, in the transaction that decided.
    words : Words
        Wording.
    day : ClassDay
        The day.

    Returns
    -------
    ClassesTold
        What was written. Nobody is written to twice, and no link of the department's goes to anybody else.
    """
    told: dict[ClassStep, list[str]] = {step: [] for step in ClassStep}
    messages = digests = 0
    if day.classes:
        digest = _digest(post, day)
        for reader, classes in _readers(post, day.classes):
            ways = _write(post, words, reader, replace(digest, to=_recipient(post, reader), classes=classes))
            for step in {one.step for one in classes}:
                told[step] += [f"{reader.name}, {way}" for way in ways]
            messages += len(ways)
            digests += 1
    keep_log(post.work, day, told)
    return ClassesTold(digests, messages)


def _digest(post: Post, day: ClassDay) -> Digest:
    """What everybody reads; the weather is that of the lawns that are spoken of."""
    work, now = post.work, post.now
    lawns = work.lawns.get(day.lawn_ids)
    stands = list(load_stands(work, sorted({lawn.stand_id for lawn in lawns})).values())
    return Digest(
        DigestKind.CLASS_HOLDS,
        _recipient(post, own_contact(post.keeper, Role.SUPERVISOR)),
        post.keeper.today(now),
        (),
        weather_stamp(stands, now=now, max_age=post.policy.max_age),
        first_message=not post.keeper.greeted,
        warnings=warnings_for(work, sorted({stand.cell_id for stand in stands}), now=now),
        classes=day.classes,
    )


def _readers(
    post: Post, classes: Sequence[ClassNotice]
) -> Iterator[tuple[ContactRecord, tuple[ClassNotice, ...]]]:
    """Whoever hears of some of it, and of what; one address is one reader."""
    contacts = post.work.crews.contacts(post.keeper.keeper_id)
    ordered = sorted(contacts, key=lambda one: (one.role is not Role.SUPERVISOR, one.contact_id))
    known: set[str] = set()
    for reader in (own_contact(post.keeper, Role.SUPERVISOR), *ordered):
        mine = tuple(one for one in classes if one.step in HEARS.get(reader.role, ()))
        address = reader.email if post.reads_mail(reader) else reader.phone
        if mine and address and address not in known:
            known.update(one for one in (reader.email, reader.phone) if one)
            yield reader, mine


def _recipient(post: Post, reader: ContactRecord) -> Recipient:
    keeper, sheet = post.keeper, post.reader(reader)
    return Recipient(
        keeper.keeper_id,
        reader.name,
        keeper.kind,
        keeper.units,
        keeper.time_zone,
        reader.language,
        reads_email=post.reads_mail(reader),
        link_version=keeper.link_version,
        contact_id=reader.contact_id,
        stop_url=sheet.stop_url if reader.contact_id else "",
    )


def _write(post: Post, words: Words, reader: ContactRecord, digest: Digest) -> list[Channel]:
    """Write by mail; by short message to the department's own phone too, and to whoever has no mail."""
    occasion = Occasion(_kind(digest), digest.on, post.now + USEFUL_FOR)
    ways = []
    if post.reads_mail(reader) and post.mail(reader, occasion, words.email(digest)):
        ways.append(Channel.EMAIL)
    by_text = post.reads_texts(reader) and (not reader.contact_id or not post.reads_mail(reader))
    if by_text and post.text(reader, occasion, words.sms(digest)):
        ways.append(Channel.SMS)
    return ways


def _kind(digest: Digest) -> str:
    """Tell messages of one day apart by what they say: one at noon takes nothing from the morning's."""
    said = "|".join(f"{one.step} {one.turf_class} {one.district}" for one in digest.classes)
    return f"{digest.kind} {sha256(said.encode()).hexdigest()[:8]}"
