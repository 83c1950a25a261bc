"""What crews, dispatchers and owners are handed: one page each, for the mail, the screen and the printer."""

from zoneinfo import ZoneInfo

from mowalert.channels.crew_wording import CrewWording, words_for
from mowalert.channels.gsm import PLAIN, plain
from mowalert.channels.rendering import template, tidy
from mowalert.domain.crews import Position
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetReader, SheetStop, WeekSummary
from mowalert.domain.notices import RenderedEmail

LONGEST_SUBJECT = 78
MOST_SMS_STOPS = 6
LONGEST_SMS = 3 * 153
MOST_LINES = 40
"""Of a list in a mail; the page has them all."""


class CrewSheets:
    """Words the days and weeks of companies, in the service's name.

    Parameters
    ----------
    service_name : str
        Who messages say they are from.
    """

    def __init__(self, service_name: str) -> None:
        self._service_name = service_name

    def whole_list(self, sheet: DaySheet, to: SheetReader) -> RenderedEmail:
        """Word the whole day for a dispatcher."""
        return self._mail("crew_day", sheet, None, to)

    def crew_list(self, sheet: DaySheet, crew_id: int, to: SheetReader) -> RenderedEmail:
        """Word one crew's day for its lead."""
        crew = sheet.crew(crew_id) or _stays_home(crew_id, sheet)
        return self._mail("crew_list", sheet, crew, to)

    def _mail(self, name: str, sheet: DaySheet, crew: CrewSheet | None, to: SheetReader) -> RenderedEmail:
        words = words_for(to)
        subject = _one_line(words.subject(sheet, crew))
        text = _rendered(f"{name}.txt", sheet, crew, to, self._service_name)
        html = _rendered(f"{name}.html", sheet, crew, to, self._service_name)
        return RenderedEmail(subject, tidy(text), html)

    def page(self, sheet: DaySheet, crew_id: int | None, to: SheetReader) -> str:
        """Return the same sheet as a page of its own, for the printer."""
        crew = None if crew_id is None else sheet.crew(crew_id) or _stays_home(crew_id, sheet)
        name = "crew_day.html" if crew is None else "crew_list.html"
        return _rendered(name, sheet, crew, to, self._service_name, most=10_000)

    def crew_text(self, sheet: DaySheet, crew_id: int, to: SheetReader) -> str:
        """Word one crew's day as a short message of at most three parts."""
        words = words_for(to)
        crew = sheet.crew(crew_id) or _stays_home(crew_id, sheet)
        lines = [f"{self._service_name}: {_one_line(words.subject(sheet, crew))}."]
        lines += [_sms_stop(stop, words) for stop in crew.stops[:MOST_SMS_STOPS]]
        if to.page_url:
            lines.append(to.page_url)
        said = plain(" ".join(lines))
        while len(said) > LONGEST_SMS and len(lines) > 2:
            del lines[-2 if to.page_url else -1]
            said = plain(" ".join(lines))
        return said[:LONGEST_SMS]

    def week(self, week: WeekSummary, to: SheetReader) -> RenderedEmail:
        """Word the weekly summary for an owner."""
        words = words_for(to)
        values = {"week": week, "to": to, "words": words, "service_name": self._service_name}
        return RenderedEmail(
            _one_line(words.week_subject(week)),
            tidy(template("crew_week.txt", words.language).render(values)),
            template("crew_week.html", words.language).render(values),
        )


def _one_line(text: str) -> str:
    """A subject: one line, in letters every mail program knows."""
    # A crew that is on no list has no name to end with.
    return " ".join(text.translate(PLAIN).split()).rstrip(" ,")[:LONGEST_SUBJECT]


def _sms_stop(stop: SheetStop, words: CrewWording) -> str:
    at, place, height = words.time(stop.starts_min), words.place(stop.lawn), words.cut(stop.lawn)
    return f"{stop.order}. {at} {place}, {height}."


def _stays_home(crew_id: int, sheet: DaySheet) -> CrewSheet:
    """The day of a crew that is on no list: a change may have left it nothing."""
    depot = sheet.crews[0].depot if sheet.crews else Position(0.0, 0.0)
    return CrewSheet(crew_id, "", depot, 0, 0, 0, 0, 0.0, ())


def _rendered(
    name: str,
    sheet: DaySheet,
    crew: CrewSheet | None,
    to: SheetReader,
    service_name: str,
    *,
    most: int = MOST_LINES,
) -> str:
    words = words_for(to)
    return template(name, words.language).render(
        sheet=sheet,
        crew=crew,
        to=to,
        words=words,
        units=to.units,
        service_name=service_name,
        made_at=sheet.made_at.astimezone(ZoneInfo(sheet.time_zone)),
        attributions=[words.say.attribution(name) for name in sheet.weather.sources],
        most=most,
    )
