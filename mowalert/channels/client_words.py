"""A client's record as a page of its own, for the screen and the printer."""

from datetime import date

from mowalert.channels.crew_wording import CrewWording
from mowalert.channels.rendering import template
from mowalert.domain.words import HoldReason
from mowalert.languages import sentence, spoken
from mowalert.service.crews.client_record import ClientRecord, RecordLine

COLUMNS = ("date", "lawn", "what", "height_mm", "share_removed", "limit", "reason", "until", "note")


def record_page(record: ClientRecord, *, language: str, service_name: str) -> str:
    """Return a record as a page.

    Parameters
    ----------
    record : ClientRecord
        The property's days.
    language : str
        A code of ``LANGUAGES``.
    service_name : str
        Who keeps the record.

    Returns
    -------
    str
        HTML with its own style.
    """
    words = CrewWording(spoken(language), record.units)
    return template("client_record.html", words.language).render(
        record=record, words=words, line_of=lambda line: _said(line, words), name=service_name
    )


def _said(line: RecordLine, words: CrewWording) -> str:
    """Say one day."""
    say = words.say
    if line.what == "skipped":
        return say.gettext("Not cut: {why}.").format(why=words.skip_reason(line.reason or "other"))
    if line.what == "hold":
        name = sentence(say.hold_name(HoldReason(line.reason))) if line.reason else ""
        if line.until is None:
            return say.gettext("{hold}, still in force: the grass is left alone.").format(hold=name)
        until = say.day(line.until, words.units)
        return say.gettext("{hold} until {day}: the grass was left alone.").format(hold=name, day=until)
    if line.height_mm is None:
        return say.gettext("Cut.")
    height = say.height(line.height_mm, words.units)
    if line.removed is None:
        return say.gettext("Cut to {height}.").format(height=height)
    text = say.gettext("Cut to {height}; it took {share} of the blade.")
    return text.format(height=height, share=say.percent(line.removed))


def record_rows(record: ClientRecord) -> list[tuple[str | float | date | None, ...]]:
    """Return a record as rows of a table, in the order of ``COLUMNS``."""
    return [
        (
            line.on,
            line.lawn,
            line.what,
            None if line.height_mm is None else round(line.height_mm, 1),
            None if line.removed is None else round(line.removed, 3),
            None if line.limit is None else round(line.limit, 3),
            line.reason,
            line.until,
            line.note,
        )
        for line in record.lines
    ]
