"""A budget of calls in memory."""

from math import inf

from mowalert.weather.budget import Limits


class DailyBudget:
    """Calls that are left of a day, by source; others are free."""

    def __init__(self, limits: dict[str, float]) -> None:
        self._limits = limits
        self._spent: dict[str, float] = {}

    def most(self, source: str) -> float:
        return Limits().most

    def take(self, source: str, calls: float, *, keep: float = 0.0) -> str | None:
        limit, spent = self._limits.get(source, inf), self._spent.get(source, 0.0)
        if spent + calls > (1 - keep) * limit:
            return "the day's budget of calls is spent"
        self._spent[source] = spent + calls
        return None
