"""What people name by its number, or a clear word that there is no such thing."""

from mowalert.errors import InputError
from mowalert.service.ports import Work
from mowalert.service.records import LawnRecord


def known_lawn(work: Work, lawn_id: int) -> LawnRecord:
    """Return the lawn of a number; InputError if there is none."""
    found = work.lawns.get([lawn_id])
    if not found:
        raise InputError(f"there is no lawn {lawn_id}; `mowalert lawns show` lists them")
    return found[0]
