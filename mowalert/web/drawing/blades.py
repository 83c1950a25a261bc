"""The path of a blade of grass, or of a part of one."""

from dataclasses import dataclass

from mowalert.web.drawing.svg import Point, pair

_Curve = tuple[Point, Point, Point]


@dataclass(frozen=True, slots=True)
class Blade:
    """A blade of grass: where its foot stands, its height, and how far its tip leans."""

    foot: float
    height: float
    lean: float


def leaf(blade: Blade, ground: float, start: float = 0.0, end: float = 1.0) -> str:
    """Return the path of a leaf that narrows to its tip, or of a part of it.

    A curve whose middle point is at half its height rises evenly, so a part of the curve is
    the same part of the height.
    """
    left, right = (_edge(blade, ground, half) for half in (-2.6, 2.6))
    (x0, y0), (x1, y1), (x2, y2) = _part(left, start, end)
    (x3, y3), (x4, y4), (x5, y5) = _part(right, end, start)
    there = f"M{pair(x0, y0)}Q{pair(x1, y1)} {pair(x2, y2)}"
    back = f"L{pair(x3, y3)}Q{pair(x4, y4)} {pair(x5, y5)}Z"
    return there + back


def stalk(blade: Blade, ground: float, start: float, end: float) -> str:
    """Return the path of a part of a blade's middle line."""
    (x0, y0), (x1, y1), (x2, y2) = _part(_edge(blade, ground, 0.0), start, end)
    return f"M{pair(x0, y0)}Q{pair(x1, y1)} {pair(x2, y2)}"


def _edge(blade: Blade, ground: float, half: float) -> _Curve:
    foot = blade.foot
    return (
        (foot + half, ground),
        (foot + 0.8 * half + 0.05 * blade.lean, ground - blade.height / 2),
        (foot + blade.lean, ground - blade.height),
    )


def _part(curve: _Curve, start: float, end: float) -> _Curve:
    """Return the part of a quadratic curve between two of its parameters, by its polar form."""

    def at(s: float, t: float) -> Point:
        first, middle, last = (1 - s) * (1 - t), s * (1 - t) + t * (1 - s), s * t
        (x0, y0), (x1, y1), (x2, y2) = curve
        return first * x0 + middle * x1 + last * x2, first * y0 + middle * y1 + last * y2

    return at(start, start), at(start, end), at(end, end)
