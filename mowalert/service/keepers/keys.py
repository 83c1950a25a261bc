"""Keys with which a keeper's own programs ask: shown once, kept only as a digest, good for what was said."""

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from hashlib import sha256
from hmac import compare_digest
from secrets import token_urlsafe

from mowalert.errors import InputError
from mowalert.links import Links
from mowalert.service.keepers.joining import ASKED
from mowalert.service.ports import ApiKeyRecord, Store, Work
from mowalert.service.records import KeeperRecord

PREFIX = "mow_"
"""What every key begins with, so that one left lying about is known for what it is."""
SECRET_OCTETS = 32
LONGEST_NAME = 80
FAILED = "api key"
FAILURES_AN_HOUR = 20
"""Wrong keys of one sender that are answered one by one; who knows a key is never kept waiting."""
WINDOW = timedelta(hours=1)


class Scope(StrEnum):
    """What a key may do."""

    READ = "read"
    REPORT = "report"
    ENROL = "enrol"


class Refused(StrEnum):
    """Why nobody is let in."""

    WRONG_KEY = "wrong_key"
    TOO_MANY = "too_many"


@dataclass(frozen=True, slots=True)
class MadeKey:
    """A key just made: the only moment at which it can be seen."""

    key: str = field(repr=False)
    record: ApiKeyRecord


@dataclass(frozen=True, slots=True)
class Asker:
    """Whose programs ask, and with which key."""

    keeper: KeeperRecord
    key: ApiKeyRecord

    def may(self, scope: Scope) -> bool:
        """Whether the key was made for this."""
        return scope in self.key.scopes


def make_key(store: Store, keeper: str, *, name: str, scopes: Collection[Scope], now: datetime) -> MadeKey:
    """Make a key for a keeper's programs.

    Parameters
    ----------
    store : Store
        Where its digest is kept.
    keeper : str
        A keeper's number, or the e-mail address of one keeper only.
    name : str
        What tells this key from others.
    scopes : Collection[Scope]
        What it may do.
    now : datetime
        The moment.

    Returns
    -------
    MadeKey
        The key, which nobody can see again.

    Raises
    ------
    InputError
        If there is no such keeper, they have not confirmed, or name or scopes are missing.
    """
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise InputError(f"give the key a name of at most {LONGEST_NAME} letters")
    if not scopes:
        raise InputError(f"say what the key may do: {', '.join(Scope)}")
    key = PREFIX + token_urlsafe(SECRET_OCTETS)
    # Always in the same order, whatever the order they were said in.
    said = tuple(scope.value for scope in Scope if scope in scopes)
    with store.begin() as work:
        keeper_id = _keeper(work, keeper).keeper_id
        record = ApiKeyRecord(0, keeper_id, name, _digest(key), said, now)
        record = replace(record, key_id=work.keys.add(record))
        work.commit()
    return MadeKey(key, record)


def _keeper(work: Work, said: str) -> KeeperRecord:
    if "@" in said:
        found = work.keepers.by_email(said.strip())
    else:
        # Numbers beyond the store's are nobody's.
        number = int(said) if said.isdecimal() and len(said) < 10 else 0
        found = list(work.keepers.get([number]).values())
    if not found:
        raise InputError(f"there is no keeper {said}: say their number, or their e-mail address")
    if len(found) > 1:
        names = ", ".join(f"{keeper.keeper_id} ({keeper.name}, {keeper.kind})" for keeper in found)
        raise InputError(f"{said} is the address of several keepers; say the number of one: {names}")
    if found[0].consent == ASKED:
        raise InputError(f"keeper {found[0].keeper_id} has not confirmed yet")
    return found[0]


def list_keys(store: Store) -> list[tuple[ApiKeyRecord, KeeperRecord]]:
    """Every key with whose it is, in order of number."""
    with store.begin() as work:
        keys = work.keys.all()
        keepers = work.keepers.get(sorted({key.keeper_id for key in keys}))
    return [(key, keepers[key.keeper_id]) for key in keys]


def revoke_key(store: Store, key_id: int, *, now: datetime) -> ApiKeyRecord:
    """Make a key void for good; InputError if there is none of that number."""
    with store.begin() as work:
        key = work.keys.revoke(key_id, at=now)
        if key is None:
            raise InputError(f"there is no key {key_id}; `mowalert api-key list` lists them")
        work.commit()
    return key


def asker_of(store: Store, links: Links, key: str, *, sender: str, now: datetime) -> Asker | Refused:
    """Find out who asks.

    Parameters
    ----------
    store : Store
        Where digests are kept.
    links : Links
        Makes one-way marks of senders.
    key : str
        What was shown.
    sender : str
        Who sent it, such as a network address; kept only as a mark, and only if the key is wrong.
    now : datetime
        The moment.

    Returns
    -------
    Asker | Refused
        The keeper and the key, or why not.
    """
    digest = _digest(key)
    with store.begin() as work:
        record = work.keys.of_digest(digest)
        if record is not None and compare_digest(record.digest, digest) and record.revoked_at is None:
            return Asker(work.keepers.get([record.keeper_id])[record.keeper_id], record)
        refused = _refused(work, links.mark(f"sender {sender}"), now)
        work.commit()
    return refused


def _refused(work: Work, mark: str, now: datetime) -> Refused:
    if work.signups.attempts(FAILED, mark, since=now - WINDOW) >= FAILURES_AN_HOUR:
        return Refused.TOO_MANY
    work.signups.attempt(FAILED, mark, at=now)
    return Refused.WRONG_KEY


def _digest(key: str) -> str:
    """A key is as long as its digest and as random: a slow hash would add nothing."""
    return sha256(key.encode(errors="replace")).hexdigest()
