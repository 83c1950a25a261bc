"""A day's first plan: over and over, whichever visit saves most for its time goes where it costs least."""

import numpy as np

from mowalert.domain.arrays import Ints
from mowalert.domain.crew_routes import Ground, Rounds

TIME_COUNTS = 0.6
"""Power of a visit's minutes against which its worth is weighed: by 1 a day fills with many small visits, by
0 with few large ones. On made-up spring days of 2,000 properties the least was lost between 0.5 and 0.7."""


def first_plan(ground: Ground) -> Rounds:
    """Return routes into which no further visit fits.

    Parameters
    ----------
    ground : Ground
        Crews, visits and driving.

    Returns
    -------
    Rounds
        The routes, the same for the same ground.
    """
    rounds, offers = Rounds(ground, ()), _Offers(ground)
    for crew in range(len(ground.crews)):
        offers.renew(crew, rounds)
    while best := offers.best():
        crew, visit = best
        if rounds.insert(visit, [crew]):
            offers.taken(visit)
            offers.renew(crew, rounds)
        else:
            offers.refused(crew, visit)
    for visit in rounds.left:
        rounds.insert(visit)
    return rounds


class _Offers:
    """What each visit saves for the time it takes, for each crew."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._minutes = np.array([visit.minutes for visit in ground.visits], dtype=np.int64)
        self._worth = np.array([visit.worth for visit in ground.visits])
        self._places = np.array([ground.place(visit) for visit in range(len(ground.visits))], dtype=np.int64)
        self._open = np.array(
            [
                [ground.allowed(crew, visit) for visit in range(len(ground.visits))]
                for crew in range(len(ground.crews))
            ],
            dtype=bool,
        )
        self._scores = np.zeros(self._open.shape)

    def renew(self, crew: int, rounds: Rounds) -> None:
        """Weigh all visits again for a crew whose route has changed."""
        takes = self._minutes + self._detours(crew, rounds)
        fits = takes <= rounds.spare_min(crew)
        self._scores[crew] = np.where(fits, self._worth / np.maximum(takes, 1) ** TIME_COUNTS, 0.0)

    def _detours(self, crew: int, rounds: Rounds) -> Ints:
        ground, minutes = self._ground, self._ground.travel.minutes
        rows = np.array(
            [ground.start(crew), *map(ground.place, rounds.orders[crew]), ground.depot(crew)], dtype=np.int64
        )
        here, there, at = rows[:-1, np.newaxis], rows[1:, np.newaxis], self._places
        detours: Ints = (minutes[here, at] + minutes[at, there] - minutes[here, there]).min(axis=0)
        return detours

    def best(self) -> tuple[int, int] | None:
        """Crew and visit of the best offer; none if nothing is left."""
        scores = np.where(self._open, self._scores, 0.0)
        if not scores.any():
            return None
        crew, visit = divmod(int(scores.argmax()), scores.shape[1])
        return crew, visit

    def taken(self, visit: int) -> None:
        self._open[:, visit] = False

    def refused(self, crew: int, visit: int) -> None:
        self._open[crew, visit] = False
