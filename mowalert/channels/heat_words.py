"""A crew's heat in words: how hot, when it is coolest, what to watch for, and whose plan comes first."""

from markupsafe import escape

from mowalert.channels.crew_wording import CrewWording, words_for
from mowalert.channels.gsm import PLAIN, plain, sms_size
from mowalert.domain.crew_heat import HeatBand, heat_band
from mowalert.domain.day_sheet import SheetReader
from mowalert.domain.notices import RenderedEmail
from mowalert.domain.units import c_from_f
from mowalert.domain.warnings import OfficialWarning
from mowalert.languages import N_
from mowalert.service.crews.heat_days import HeatDay

BANDS = {
    HeatBand.NONE: "",
    HeatBand.CAUTION: N_("NWS class: caution"),
    HeatBand.EXTREME_CAUTION: N_("NWS class: extreme caution"),
    HeatBand.DANGER: N_("NWS class: danger"),
    HeatBand.EXTREME_DANGER: N_("NWS class: extreme danger"),
}
MOST_PARTS = 2
LONGEST_NAME = 30
"""Of the service, in a short message: what to do must have room in every language."""
PAGE = (
    '<!doctype html><html lang="{language}"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    '<meta name="color-scheme" content="light dark"><title>{title}</title></head>'
    '<body style="margin:0"><div style="max-width:600px;margin:0 auto;padding:18px 14px;'
    "font-family:Georgia,'Times New Roman',serif;font-size:19px;line-height:1.45\">"
    '<h1 style="font-size:26px;line-height:1.2;margin:0 0 10px">{title}</h1>{body}</div></body></html>'
)


class HeatMessages:
    """Words crew heat in the service's name.

    Parameters
    ----------
    service_name : str
        Who messages say they are from.
    """

    def __init__(self, service_name: str) -> None:
        self._service_name = service_name

    def heat_mail(self, day: HeatDay, to: SheetReader) -> RenderedEmail:
        """Word an e-mail: plain text and HTML with the same lines."""
        words = words_for(to)
        title, lines = _title(day, words), [*_lines(day, words), self._service_name]
        if to.stop_url:
            stop = words.say.gettext("Stop these mails")
            lines.append(f"{stop}: {to.stop_url}")
        body = "".join(f'<p style="margin:0 0 12px">{escape(line)}</p>' for line in lines)
        html = PAGE.format(language=words.language, title=escape(title), body=body)
        return RenderedEmail(title.translate(PLAIN)[:78], "\n\n".join([title, *lines]) + "\n", html)

    def heat_text(self, day: HeatDay, to: SheetReader) -> str:
        """Word a short message of at most two parts; whom to call at work is said where there is room."""
        words = words_for(to)
        say = words.say.gettext
        told = " ".join(
            [
                f"{self._service_name[:LONGEST_NAME]}: {_title(day, words)}. {_coolest(day, words)}",
                say("Water, shade, rest."),
                say("Confusion or collapse: call the emergency number."),
                say("Your employer's heat plan and the law come first."),
            ]
        )
        with_call = plain(f"{told} {say('Call: {who}').format(who=day.call)}")
        return with_call if day.call and sms_size(with_call).parts <= MOST_PARTS else plain(told)


def _title(day: HeatDay, words: CrewWording) -> str:
    said = (
        words.say.gettext("Heat on {day}: index {index} about {hour}")
        if day.before_f is None
        else words.say.gettext("Hotter than told, {day}: index {index} about {hour}")
    )
    return said.format(
        day=words.say.weekday(day.heat.on),
        index=_index(day.heat.heat_index_f),
        hour=words.time(day.heat.at_hour * 60),
    )


def _index(fahrenheit: float) -> str:
    """Both scales: an employer's plan may be written in either."""
    return f"{fahrenheit:.0f} °F ({float(c_from_f(fahrenheit)):.0f} °C)"


def _coolest(day: HeatDay, words: CrewWording) -> str:
    said = words.say.gettext("Coolest working hours: {first} to {last}.")
    return said.format(first=words.time(day.heat.safest_from * 60), last=words.time(day.heat.safest_to * 60))


def _lines(day: HeatDay, words: CrewWording) -> list[str]:
    say = words.say.gettext
    where = f"{day.keeper_name}, {day.where}" if day.where else day.keeper_name
    lines = [f"{where}. {words.say.day(day.heat.on, words.units)}.", _coolest(day, words)]
    if day.heat.strong:
        text = say("It passes the strong caution of {limit}: move heavy work to the cool hours.")
        lines.append(text.format(limit=_index(day.strong_f)))
    else:
        lines.append(say("It passes the first caution of {limit}.").format(limit=_index(day.first_f)))
    band = BANDS[heat_band(day.heat.heat_index_f)]
    if band:
        lines.append(say(band) + ". " + say("In full sun it can feel up to 15 °F (8 °C) hotter."))
    lines += [
        say("Drink water often, rest in the shade, watch each other."),
        say("Whoever is new or was away gets used to heat in steps over one to two weeks (NIOSH)."),
        say("Confusion, slurred speech or collapse: call the local emergency number at once and cool them."),
        say("Your employer's heat plan and the law come first; these figures only add."),
    ]
    lines += [_official(one, day, words) for one in day.warnings]
    if day.plan:
        lines.append(say("Heat plan: {where}").format(where=day.plan))
    if day.call:
        lines.append(say("Call: {who}").format(who=day.call))
    return lines


def _official(warning: OfficialWarning, day: HeatDay, words: CrewWording) -> str:
    """A warning in its sender's own words, and when it holds."""
    when = words.say.moments(warning.onset_at, warning.ends_at, day.time_zone, words.units)
    said = f"{warning.sender}: {warning.headline or warning.event} ({when})"
    return f"{said} {warning.url}".rstrip()
