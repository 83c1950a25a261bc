"""All that the drawings say, in two languages, and how days and lists are said."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

MOST_SAID = 5
"""A description that lists more than this is heard by nobody to its end."""


@dataclass(frozen=True, slots=True)
class DrawingWords:
    """All that drawings say, in one language; braces name what is filled in. English by default."""

    language: str = "en"
    weekdays: tuple[str, ...] = (
        "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
    )  # fmt: skip
    months: tuple[str, ...] = (
        "January", "February", "March", "April", "May", "June", "July", "August", "September",
        "October", "November", "December",
    )  # fmt: skip
    months_short: tuple[str, ...] = (
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    )  # fmt: skip
    day: str = "{weekday} {day} {month}"
    day_short: str = "{day} {month}"
    compass: tuple[str, str, str, str] = ("N", "S", "E", "W")
    decimal: str = "."
    more: str = "And {count} more."

    today: str = "today"
    now: str = "about {height}"
    kept: str = "kept at {height}"
    limit: str = "limit {height}"
    cut: str = "cut"
    cut_assumed: str = "assumed cut"
    doubt: str = "likely range"
    lawn_title: str = "Grass height, the last two weeks and the next ten days"
    say_now: str = "The grass is about {height} tall today."
    say_no_height: str = "The height of today is not known."
    say_kept: str = "It is kept at {height}."
    say_limit: str = "The limit for one cut is {height}."
    say_reaches: str = "It is expected to reach the limit on {day}."
    say_past: str = "It has reached the limit."
    say_never: str = "It is not expected to reach the limit in the days shown."
    say_cut: str = "Cut on {day} to {height}."
    say_cut_assumed: str = "A cut on {day} to {height} is assumed."
    say_no_cut: str = "No cut is known in the days shown."
    say_hold: str = "{name} from {first} to {last}."
    say_hold_day: str = "{name} on {first}."

    third_title: str = "A third of the blade"
    third_desc: str = (
        "Three tufts of grass and one line at the height they are cut to. The first is hardly taller than "
        "the line: a cut takes a tenth and is not needed yet. The second is half as tall again as the line: "
        "a cut takes a third of the blade, the most it should. The third is twice as tall: a cut would take "
        "half, which is too late."
    )
    third_cut: str = "cut"
    third_names: tuple[str, str, str] = ("too early", "at the limit", "too late")
    third_shares: tuple[str, str, str] = ("takes a tenth", "takes a third", "takes half")

    roots_title: str = "Height and roots"
    roots_desc: str = (
        "Three tufts of grass with their roots. Grass kept short has shallow roots, grass kept at a middle "
        "height has deeper ones, and grass kept tall has the deepest: they reach water in a dry week."
    )
    roots_names: tuple[str, str, str] = ("kept short", "middle", "kept tall")
    roots_depths: tuple[str, str, str] = ("shallow roots", "deeper", "deep roots")

    clippings_title: str = "Short clippings and long ones"
    clippings_desc: str = (
        "On the left, short clippings fall between the blades, down to the soil, and feed the lawn. On the "
        "right, long clippings lie in a row on top of the grass, and the blades under it are bent and "
        "smothered."
    )
    clippings_names: tuple[str, str] = ("short clippings", "long clippings")
    clippings_fates: tuple[str, str] = ("sink in and feed", "lie and smother")

    cells_title: str = "Weather cells of the region"
    cells_none: str = "There is no cell to show."
    cells_extent: str = "{south} to {north}, {west} to {east}"
    cells_north: str = "north is up"
    cells_one: str = "{place}: {label}."
    cells_together: str = "Neighbouring cells are drawn together, by their middle value."
    cells_least: str = "least: {label}"
    cells_most: str = "most: {label}"
    cells_all: str = "all: {label}"


ENGLISH = DrawingWords()


SPANISH = DrawingWords(
    language="es",
    weekdays=("lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"),
    months=("enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre",
            "octubre", "noviembre", "diciembre"),
    months_short=("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"),
    day="{weekday} {day} de {month}",
    compass=("N", "S", "E", "O"),
    decimal=",",
    more="Y {count} más.",
    today="hoy",
    now="cerca de {height}",
    kept="se corta a {height}",
    limit="límite {height}",
    cut="corte",
    cut_assumed="corte supuesto",
    doubt="margen probable",
    lawn_title="Altura del césped, las dos últimas semanas y los próximos diez días",
    say_now="El césped mide hoy cerca de {height}.",
    say_no_height="No se conoce la altura de hoy.",
    say_kept="Se corta a {height}.",
    say_limit="El límite para un solo corte es {height}.",
    say_reaches="Se espera que llegue al límite el {day}.",
    say_past="Ya ha llegado al límite.",
    say_never="No se espera que llegue al límite en los días que se muestran.",
    say_cut="Corte el {day} a {height}.",
    say_cut_assumed="Se supone un corte el {day} a {height}.",
    say_no_cut="No se conoce ningún corte en los días que se muestran.",
    say_hold="{name} del {first} al {last}.",
    say_hold_day="{name} el {first}.",
    third_title="Un tercio de la hoja",
    third_desc=(
        "Tres matas de césped y una línea a la altura a la que se cortan. La primera apenas pasa de la "
        "línea: un corte quita un décimo y aún no hace falta. La segunda la pasa en la mitad de su altura: "
        "un corte quita un tercio de la hoja, lo más que debe quitar. La tercera mide el doble: un corte "
        "quitaría la mitad, y ya es tarde."
    ),
    third_cut="corte",
    third_names=("muy pronto", "en el límite", "muy tarde"),
    third_shares=("quita un décimo", "quita un tercio", "quita la mitad"),
    roots_title="Altura y raíces",
    roots_desc=(
        "Tres matas de césped con sus raíces. El césped que se corta bajo tiene raíces someras, el de "
        "altura media las tiene más hondas y el alto las más hondas de todas: alcanzan el agua en una "
        "semana seca."
    ),
    roots_names=("bajo", "medio", "alto"),
    roots_depths=("raíces someras", "más hondas", "raíces hondas"),
    clippings_title="Recortes cortos y largos",
    clippings_desc=(
        "A la izquierda, los recortes cortos caen entre las hojas hasta el suelo y alimentan el césped. A la "
        "derecha, los recortes largos quedan en una hilera sobre el césped, y las hojas de debajo se doblan "
        "y se asfixian."
    ),
    clippings_names=("recortes cortos", "recortes largos"),
    clippings_fates=("caen y alimentan", "tapan y asfixian"),
    cells_title="Celdas del tiempo de la región",
    cells_none="No hay ninguna celda que mostrar.",
    cells_extent="{south} a {north}, {west} a {east}",
    cells_north="el norte está arriba",
    cells_together="Las celdas vecinas se dibujan juntas, con su valor mediano.",
    cells_least="mínimo: {label}",
    cells_most="máximo: {label}",
    cells_all="todas: {label}",
)  # fmt: skip


def day_said(on: date, words: DrawingWords) -> str:
    """Say a day whole."""
    return date_said(words.day, on, words.months, words)


def date_said(template: str, on: date, months: Sequence[str], words: DrawingWords) -> str:
    """Fill a date into a template, with long names of months or short ones."""
    return template.format(weekday=words.weekdays[on.weekday()], day=on.day, month=months[on.month - 1])


def first_of(sentences: Sequence[str], words: DrawingWords, *, most: int = MOST_SAID) -> list[str]:
    """Keep as many sentences as are listened to, and count the rest."""
    if len(sentences) <= most:
        return list(sentences)
    return [*sentences[:most], words.more.format(count=len(sentences) - most)]
