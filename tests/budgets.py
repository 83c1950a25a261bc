"""A budget of calls in memory."""

from mowalert.weather.budget import Limits


class DailyBudget:
    """Calls that are left of a day, by source; others are free."""

    def __init__(self, limits: dict[str, float]) -> None:
        self._left = dict(limits)

    def most(self, source: str) -> float:
        return Limits().most

    def take(self, source: str, calls: float, *, keep: float = 0.0) -> str | None:
        left = self._left.get(source, Limits().day)
        if left < calls + keep:
            return "the day's budget of calls is spent"
        self._left[source] = left - calls
        return None
