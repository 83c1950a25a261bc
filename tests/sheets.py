"""Days and weeks of an invented company as its people are handed them."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any

from mowalert.domain.crews import Change, ChangeKind, Fault, Position, WhyLeft
from mowalert.domain.day_sheet import (
    CrewSheet,
    DaySheet,
    SheetHeld,
    SheetLawn,
    SheetLeft,
    SheetReader,
    SheetStop,
    WeekAhead,
    WeekDay,
    WeekSummary,
)
from mowalert.domain.notices import CrewHeat, HoldFacts, WeatherStamp
from mowalert.domain.warnings import OfficialWarning, Severity, WarningKind
from mowalert.domain.words import Clippings, HoldReason, Units

DAY = date(2026, 5, 7)
MADE_AT = datetime(2026, 5, 7, 9, 30, tzinfo=UTC)
NAMES = ("North", "Ribera", "Orchard", "Hillside", "Quay", "Commons", "Mill", "Las Acequias")
LONG_PLACE = "Comunidad de Propietarios Residencial Los Almendros de la Vega Alta"
LONG_ACCESS = (
    "Entrar por el callejón de servicio detrás del lavadero; cerrar siempre la verja pequeña al salir"
)
DISPATCHER = SheetReader(1, "Dana", "en", Units.METRIC, "https://mow.example.org/work/abc_d-e.f", "")
LEAD = SheetReader(2, "Ana", "es", Units.METRIC, "https://mow.example.org/work/xyz", "")
US_LEAD = SheetReader(3, "Sam", "en", Units.US)
PLACE = Position(42.71234, -104.98765)
HEAT = CrewHeat(DAY, 104.0, 15, strong=True, safest_from=7, safest_to=11)
WARNING = OfficialWarning(
    "w1", "Invented Weather Office", "Heat Advisory", WarningKind.HEAT, Severity.SEVERE,
    "Heat Advisory until 8 PM <this evening>", MADE_AT, MADE_AT + timedelta(hours=14),
    instruction="Drink plenty of fluids & stay out of the sun.", language="en-US",
)  # fmt: skip


def a_sheet_lawn(lawn_number: int = 1, /, **changes: Any) -> SheetLawn:
    """A lawn that is due; its numbers follow from its own."""
    plain = SheetLawn(
        lawn_id=lawn_number,
        site_id=lawn_number,
        site_name=f"Garden {lawn_number}",
        lawn_name="lawn",
        address=f"{lawn_number} Elm Lane",
        position=Position(42.7 + lawn_number / 1000, -73.8 + lawn_number / 2000),
        number=f"A-{lawn_number}",
        client=f"Client {lawn_number}",
        access="",
        gate="",
        dog="",
        grass_name="perennial ryegrass",
        turf_class="",
        area_m2=400.0,
        minutes=22.0,
        chosen_mm=50.0,
        height_mm=76.0,
        cut_to_mm=50.7,
        grown_mm=26.0,
        last_cut_on=DAY - timedelta(days=8),
        last_cut_assumed=False,
        removed=(0.341, 0.372, 0.401),
        limit=1 / 3,
        clippings=Clippings.LEAVE,
    )
    return replace(plain, **changes)


def a_crew(crew_id: int = 1, lawns: tuple[SheetLawn, ...] = (), name: str = "North") -> CrewSheet:
    """A crew that goes through some lawns, one after the other."""
    stops, minute = [], 430
    for order, lawn in enumerate(lawns, 1):
        ends = minute + round(lawn.minutes)
        stops.append(SheetStop(order, lawn, minute, ends, 5, 2.4))
        minute = ends + 5
    return CrewSheet(
        crew_id, name, Position(42.72, -73.78), 420, 960, 425, minute, 2.4 * len(stops) + 3, tuple(stops)
    )


def a_day_sheet(*crews: CrewSheet, **changes: Any) -> DaySheet:
    """A day's first plan."""
    plain = DaySheet(
        keeper_id=1,
        keeper_name="Green Quarter",
        on=DAY,
        version=1,
        why="morning",
        made_at=MADE_AT,
        time_zone="America/New_York",
        units=Units.METRIC,
        crews=crews or (a_crew(1, (a_sheet_lawn(1), a_sheet_lawn(2))),),
        left_out=(),
        held=(),
        faults=(),
        changes=(),
        weather=WeatherStamp(("open_meteo",), MADE_AT, fresh=True),
    )
    return replace(plain, **changes)


def knotty_lawns(first: int, count: int, *, seed: int = 1) -> tuple[SheetLawn, ...]:
    """Lawns with everything that can be known of one."""
    draw = Random(seed)
    gates, dogs = ("", "4711#", "clave 0092, girar dos veces"), ("", "grande, suelto por las mañanas")
    lawns = []
    for number in range(first, first + count):
        today = draw.uniform(0.26, 0.42)
        tall = 50 / (1 - today)
        treated = HoldFacts(HoldReason.TREATMENT, DAY + timedelta(days=1), note="label: two days")
        lawns.append(
            a_sheet_lawn(
                number,
                site_name=LONG_PLACE if number % 5 == 0 else f"Calle de las Moreras {number}",
                lawn_name="parte de atrás, junto al estanque" if number % 4 == 0 else "lawn",
                gate=gates[number % 3],
                dog=dogs[number % 2] if number % 4 == 1 else "",
                access=LONG_ACCESS if number % 6 == 0 else "",
                minutes=draw.uniform(12, 35),
                height_mm=tall,
                grown_mm=tall - 50,
                cut_to_mm=max(50.0, tall * 2 / 3),
                staged_next_on=DAY + timedelta(days=3) if today > 1 / 3 else None,
                removed=(today, today + 0.03, today + 0.06),
                clippings=(Clippings.LEAVE, Clippings.COLLECT, Clippings.CUT_TWICE)[number % 3],
                last_cut_assumed=number % 7 == 0,
                cautions=(treated,) if number % 8 == 0 else (),
                skipped="locked" if number % 9 == 0 else None,
                skipped_note="nobody answered the bell" if number % 9 == 0 else "",
                visit_from_min=600 if number % 10 == 0 else None,
            )
        )
    return tuple(lawns)


def a_full_day() -> DaySheet:
    """Eight crews, one with 19 stops, planned again after rain: everything a sheet can say."""
    sizes = (12, 19, 9, 14, 7, 11, 8, 0)
    crews, first = [], 1
    for crew_id, (name, size) in enumerate(zip(NAMES, sizes, strict=True), 1):
        crews.append(a_crew(crew_id, knotty_lawns(first, size, seed=crew_id), name))
        first += size
    left = tuple(
        SheetLeft(lawn, WhyLeft.NO_TIME if place % 3 else WhyLeft.HOURS, 0.9 - place / 10)
        for place, lawn in enumerate(knotty_lawns(200, 7, seed=99))
    )
    drought = HoldFacts(HoldReason.DROUGHT, DAY - timedelta(days=3), (("water_stress", 0.31),))
    event = HoldFacts(HoldReason.EVENT, DAY, ended_on=DAY + timedelta(days=2), note="Summer concert")
    gone = a_sheet_lawn(300, site_name="Calle del Olmo 300")
    return a_day_sheet(
        *crews,
        version=2,
        why="rain",
        left_out=left,
        held=(SheetHeld(a_sheet_lawn(400), (drought,)), SheetHeld(a_sheet_lawn(401), (event,))),
        faults=(Fault("Crew Dawn", "no working hours"), Fault("Mill Lane 9", "its depot has no position")),
        changes=(
            Change(1, ChangeKind.RETIMED, 1, 1, 430, 475),
            Change(13, ChangeKind.MOVED, 1, 2, 500, 430),
            Change(300, ChangeKind.DROPPED, 2, None, 610, None),
            Change(14, ChangeKind.ADDED, None, 2, None, 470),
        ),
        dropped=(gone,),
        crew_heat=HEAT,
        warnings=(WARNING,),
    )


def a_week(**changes: Any) -> WeekSummary:
    """Last week's work, and the week ahead."""
    days = tuple(
        WeekDay(DAY + timedelta(days=ahead), 20 + ahead, 3, 30.0 + ahead, 4.5, 36.0) for ahead in range(7)
    )
    stamp = WeatherStamp(("nws",), MADE_AT, fresh=True)
    ahead = WeekAhead(1, "Green Quarter", DAY, days, DAY + timedelta(days=6), stamp)
    plain = WeekSummary(
        keeper_id=1,
        keeper_name="Green Quarter",
        from_on=DAY - timedelta(days=7),
        to_on=DAY - timedelta(days=1),
        done=118,
        skipped=(("rain", 7), ("locked", 2)),
        on_time=110,
        over_limit=8,
        largest_removed=0.44,
        worked_h=96.5,
        crew_h=140.0,
        ahead=ahead,
    )
    return replace(plain, **changes)
