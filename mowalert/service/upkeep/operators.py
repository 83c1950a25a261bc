"""Who may look at how the service does: names, passwords, and how often one may try."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING
from unicodedata import normalize

from mowalert.errors import InputError
from mowalert.links import Links
from mowalert.service.ports import OperatorRecord, Store, Work

if TYPE_CHECKING:
    from argon2 import PasswordHasher

LONGEST_NAME = 80
FEWEST_LETTERS, MOST_LETTERS = 12, 200
"""Of a password; working values. A sentence is easier to remember than signs, and harder to guess."""
MEMORY_KIB, PASSES, LANES = 19_456, 2, 1
"""Work of one guess: Argon2id as the OWASP Password Storage Cheat Sheet has it, fit for a small computer."""
NOBODY = "$argon2id$v=19$m=19456,t=2,p=1$YF2RL+IfYG9nbfawxndmDw$AOJ1nN3eVQCNY6sGubYxUYTIyAo0i8S1OHzGJcsn5Yc"
"""A hash that belongs to no password: whoever is not known costs the same time as who is."""


@dataclass(frozen=True, slots=True)
class TryLimits:
    """How many failed tries are let through in a span, for one name and from one sender."""

    per_name: int = 5
    per_sender: int = 20
    span: timedelta = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Operator:
    """An operator, and when their password was set."""

    name: str
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class SignedIn:
    """What became of a try: an operator, nobody, or nobody because there were too many."""

    operator: Operator | None
    too_many: bool = False


def set_operator(store: Store, name: str, password: str, *, now: datetime) -> bool:
    """Let somebody look, or change their password, which ends every session they have.

    Parameters
    ----------
    store : Store
        Where it is kept.
    name : str
        Whose.
    password : str
        Only its hash is kept.
    now : datetime
        The moment.

    Returns
    -------
    bool
        Whether the name is new.

    Raises
    ------
    InputError
        If the name or the password cannot be used.
    """
    name, password = _plain(name), _plain(password)
    if not 1 <= len(name) <= LONGEST_NAME:
        raise InputError(f"a name of 1 to {LONGEST_NAME} letters is needed")
    if not FEWEST_LETTERS <= len(password) <= MOST_LETTERS:
        raise InputError(
            f"the password has {len(password)} letters; {FEWEST_LETTERS} to {MOST_LETTERS} are allowed"
        )
    hashed = _hasher().hash(password)
    with store.begin() as work:
        new = work.operators.get(name) is None
        work.operators.keep(OperatorRecord(name, hashed, now))
        work.commit()
    return new


def remove_operator(store: Store, name: str) -> None:
    """Let somebody look no longer; InputError if there is no such operator."""
    with store.begin() as work:
        if not work.operators.remove(_plain(name)):
            raise InputError(f"there is no operator {name!r}; `mowalert operator list` lists them")
        work.commit()


def operators(store: Store) -> list[Operator]:
    """Return every operator, by name."""
    with store.begin() as work:
        return [_shown(record) for record in work.operators.all()]


def sign_in(
    store: Store,
    links: Links,
    name: str,
    password: str,
    *,
    sender: str,
    now: datetime,
    limits: TryLimits = TryLimits(),
) -> SignedIn:
    """Check a name and a password, in the same time whether the name is known or not.

    Parameters
    ----------
    store : Store
        Where operators and tries are kept.
    links : Links
        Makes the marks under which tries are counted.
    name : str
        As it was typed.
    password : str
        As it was typed.
    sender : str
        Who asks; only a mark of it is kept.
    now : datetime
        The moment.
    limits : TryLimits
        When to refuse without a look.

    Returns
    -------
    SignedIn
        Who it is, or why nobody.
    """
    name, password = _plain(name)[:LONGEST_NAME], _plain(password)[:MOST_LETTERS]
    tries = {
        "login name": (links.mark(f"operator {name}"), limits.per_name),
        "login sender": (links.mark(f"sender {sender}"), limits.per_sender),
    }
    with store.begin() as work:
        since = now - limits.span
        if any(_failures(work, what, mark, since) >= most for what, (mark, most) in tries.items()):
            return SignedIn(None, too_many=True)
        record = work.operators.get(name)
        # Counted before the look, which takes its time: tries side by side must not all slip through.
        for what, (mark, _) in tries.items():
            work.signups.attempt(what, mark, at=now)
        work.commit()
    if not _fits(record.password_hash if record else NOBODY, password) or record is None:
        return SignedIn(None)
    with store.begin() as work:
        for what, (mark, _) in tries.items():
            work.signups.attempt(_good(what), mark, at=now)
        work.commit()
    return SignedIn(_shown(record))


def _failures(work: Work, what: str, mark: str, since: datetime) -> int:
    tried, good = (work.signups.attempts(name, mark, since=since) for name in (what, _good(what)))
    return tried - good


def _good(what: str) -> str:
    return f"{what} ok"


def _shown(record: OperatorRecord) -> Operator:
    return Operator(record.name, record.changed_at)


def _plain(typed: str) -> str:
    """What a form makes of a text too: spaces drawn together, letters composed, nothing unseen."""
    return normalize("NFC", "".join(filter(str.isprintable, " ".join(typed.split()))))


def _fits(hashed: str, password: str) -> bool:
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return _hasher().verify(hashed, password)
    except (VerificationError, InvalidHashError):
        return False


@cache
def _hasher() -> "PasswordHasher":
    try:
        from argon2 import PasswordHasher
    except ImportError as error:
        raise InputError("passwords need more: install mowalert[web]") from error
    return PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)
