"""How long a lawn takes: what the office says, else what visits taught, else what its size suggests."""

AREA_USUAL_M2 = 400.0
"""Of a lawn whose size nobody has told. Working value."""
SETTING_UP_MIN = 4.0
"""Unloading, edges, blowing off: at every stop. Working value, common practice."""
SQUARE_METRES_A_MINUTE = {
    "sports": 120.0,
    "verge": 90.0,
    "meadow": 60.0,
}
"""What a crew mows in a minute, by the word its turf class begins with. Working values, common practice."""
USUAL_M2_A_MINUTE = 35.0
FARTHEST = 4.0
"""A visit that took this many times the usual, or a part as small, was something else than mowing."""
VISITS_REMEMBERED = 8
"""Later visits count as if there had been so many before: a lawn's time drifts with its season."""


def usual_minutes(
    area_m2: float | None, turf_class: str, *, said: float | None, learned: float | None
) -> float:
    """Return the minutes a lawn takes.

    Parameters
    ----------
    area_m2 : float | None
        Its size; a usual one if nobody told. [m²]
    turf_class : str
        Its turf class; empty for a garden.
    said : float | None
        What the office says, which counts before anything else. [min]
    learned : float | None
        What recorded visits taught. [min]

    Returns
    -------
    float
        Minutes at the lawn, without driving. [min]
    """
    if said is not None:
        return said
    return learned if learned is not None else minutes_by_size(area_m2, turf_class)


def minutes_by_size(area_m2: float | None, turf_class: str) -> float:
    """Return what a lawn's size suggests. [min]"""
    first_word = turf_class.casefold().replace("_", " ").split(" ")[0]
    pace = SQUARE_METRES_A_MINUTE.get(first_word, USUAL_M2_A_MINUTE)
    return SETTING_UP_MIN + (area_m2 if area_m2 is not None else AREA_USUAL_M2) / pace


def learn_minutes(
    learned: float | None, visits: int, minutes: float, *, usual: float
) -> tuple[float | None, int]:
    """Let a recorded visit teach how long a lawn takes.

    Parameters
    ----------
    learned : float | None
        What earlier visits taught. [min]
    visits : int
        How many they were.
    minutes : float
        How long this one took. [min]
    usual : float
        What is planned with now. [min]

    Returns
    -------
    tuple[float | None, int]
        Minutes and visits after it; unchanged by a visit far from the usual.
    """
    if not usual / FARTHEST <= minutes <= usual * FARTHEST:
        return learned, visits
    before = learned if learned is not None else minutes
    weight = min(visits, VISITS_REMEMBERED - 1)
    return (before * weight + minutes) / (weight + 1), visits + 1
