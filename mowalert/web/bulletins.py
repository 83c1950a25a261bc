"""A region's bulletin as its page and its feed show it: words, the map, and the week's lesson drawn."""

from dataclasses import dataclass, replace
from datetime import datetime

from mowalert.channels.bulletin import (
    BulletinText,
    bulletin_text,
    grass_name,
    growth_in,
    growth_number,
    in_units,
)
from mowalert.channels.wording import wording_in
from mowalert.domain.bulletin import Bulletin, Lesson
from mowalert.domain.words import Units
from mowalert.service.region.bulletin import KeptBulletin, week_name
from mowalert.web.drawing import (
    ENGLISH,
    SPANISH,
    DrawingWords,
    DrawnCell,
    draw_cells,
    draw_clippings,
    draw_roots,
    draw_third,
)

LESSON_DRAWINGS = {Lesson.THIRD: draw_third, Lesson.ROOTS: draw_roots, Lesson.CLIPPINGS: draw_clippings}


@dataclass(frozen=True, slots=True)
class ShownBulletin:
    """What a template needs of a bulletin; ``map_title`` names what the map shows, if there is one."""

    guide_id: str
    week: str
    text: BulletinText
    adviser: str
    said: str
    changed_at: datetime
    map_title: str
    map_drawing: str
    lesson_drawing: str


def shown_bulletin(kept: KeptBulletin, *, language: str, units: Units, cell_degrees: float) -> ShownBulletin:
    """Put a bulletin into words and lines.

    Parameters
    ----------
    kept : KeptBulletin
        The bulletin, and what its adviser added.
    language : str
        The reader's.
    units : Units
        The reader's.
    cell_degrees : float
        Side of a weather cell. [°]

    Returns
    -------
    ShownBulletin
        Ready for a template; the map is missing where no cell may be shown.
    """
    bulletin = kept.bulletin
    say, words = wording_in(language), SPANISH if language == "es" else ENGLISH
    title = say.gettext("{grass}: growth of the week {in_units}, by weather square").format(
        grass=grass_name(bulletin.grasses[0], say), in_units=in_units(say, units)
    )
    return ShownBulletin(
        guide_id=bulletin.guide_id,
        week=week_name(bulletin.week_on),
        text=bulletin_text(bulletin, language=language, units=units),
        adviser=bulletin.adviser,
        said=kept.said,
        changed_at=kept.changed_at,
        map_title=title,
        map_drawing=_map(bulletin, replace(words, cells_title=title), units, cell_degrees),
        lesson_drawing=LESSON_DRAWINGS[bulletin.lesson](words),
    )


def _map(bulletin: Bulletin, words: DrawingWords, units: Units, cell_degrees: float) -> str:
    say = wording_in(words.language)
    # By the numbers that are shown: equal ones have one tone.
    cells = [
        DrawnCell(
            cell.latitude_deg,
            cell.longitude_deg,
            growth_in(cell.week_mm, units),
            growth_number(cell.week_mm, say, units),
        )
        for cell in bulletin.cells
    ]
    return draw_cells(cells, words=words, cell_deg=cell_degrees) if cells else ""
