"""Plots of cuts by month and of keepable heights; they read without colour."""

from pathlib import Path
from typing import Any

from matplotlib import pyplot as plt

from mowalert.cli.common import MONTHS
from mowalert.cli.plots import save
from mowalert.domain.planning import DaySpread, HeightNeed, HeightPlan, MonthDay
from mowalert.errors import InputError
from mowalert.service.region.plan import Keeping, Plan

INK, QUIET = "#2f4a6d", "#8a8478"
HATCHES = ("//", "..", "\\\\", "xx", "--", "oo")
LONGEST_SHOWN_D = 60.0
"""Longer intervals are no mowing plan; the axis ends there."""


def draw_plan(told: Plan, path: Path) -> None:
    """Draw cuts by month, a panel a height; InputError if the file cannot be written."""
    count = len(told.heights)
    figure, panels = plt.subplots(
        count,
        1,
        figsize=(8.5, 1.1 + 1.9 * count),
        layout="constrained",
        sharex=True,
        sharey=True,
        squeeze=False,
    )
    for axes, height, hatch in zip(panels[:, 0], told.heights, HATCHES, strict=False):
        _draw_height(axes, height, told.months, hatch)
    panels[-1, 0].set_xticks(range(12), [MONTHS[month - 1] for month in told.months])
    figure.supylabel("cuts a month, mean of the years", fontsize=9)
    figure.suptitle(
        f"{told.lawn.grass.name}, {told.basis.years[0]} to {told.basis.years[-1]}: "
        "first (▲) and last (▼) cut, earliest to latest",
        fontsize=10,
    )
    save(figure, path)


def _draw_height(axes: Any, height: HeightPlan, months: tuple[int, ...], hatch: str) -> None:
    bars = axes.bar(range(12), height.mean_by_month, facecolor="white", edgecolor=INK, hatch=hatch, width=0.7)
    axes.bar_label(bars, labels=[f"{mean:.1f}" for mean in height.mean_by_month], fontsize=7, padding=1)
    axes.set_title(
        f"{height.height_mm:g} mm: {height.mean_cuts:.1f} cuts a year "
        f"({height.fewest_cuts} to {height.most_cuts})",
        fontsize=9,
        loc="left",
    )
    axes.margins(y=0.22)
    # Times lie on a line of their own above the bars, where no bar hides them.
    for spread, marker in ((height.first_cut, "^"), (height.last_cut, "v")):
        if spread is not None:
            _draw_spread(axes, spread, months, marker)


def _draw_spread(axes: Any, spread: DaySpread, months: tuple[int, ...], marker: str) -> None:
    at = axes.get_xaxis_transform()
    ends = [_place(on, months) for on in (spread.earliest, spread.latest)]
    middle = _place(spread.median, months)
    axes.plot(ends, [0.93, 0.93], "|-", color=QUIET, transform=at, markersize=7, linewidth=1)
    axes.plot([middle], [0.93], marker, color=INK, transform=at, markersize=6)
    axes.annotate(
        f"{spread.median.day} {MONTHS[spread.median.month - 1]}",
        (middle, 0.93),
        xycoords=at,
        xytext=(0, -11),
        textcoords="offset points",
        ha="center",
        fontsize=7,
    )


def _place(on: MonthDay, months: tuple[int, ...]) -> float:
    """Place of a day on an axis whose months stand at whole numbers, in their middle."""
    return months.index(on.month) + (on.day - 0.5) / 31 - 0.5


def draw_keepable(told: Keeping, path: Path) -> None:
    """Draw the interval each height needs, and what was asked; InputError if it cannot be written."""
    figure, axes = plt.subplots(figsize=(8, 4.6), layout="constrained")
    needs = [need for need in told.heights if need.days is not None]
    if not needs:
        raise InputError(f"{told.lawn.grass.name} needs no cut at any height: there is nothing to draw")
    heights_mm = [need.height_mm for need in needs]
    fastest = [_shown(need.fastest_year_days) for need in needs]
    typical = [_shown(need.days) for need in needs]
    slowest = [_shown(need.slowest_year_days) for need in needs]
    band: dict[str, Any] = {
        "facecolor": "none",
        "edgecolor": QUIET,
        "hatch": "//",
        "linewidth": 0.5,
        "alpha": 0.6,
    }
    axes.fill_between(heights_mm, fastest, slowest, **band)
    axes.plot(heights_mm, typical, color=INK, linewidth=1.8)
    _label(axes, "slowest year", heights_mm, slowest, share=0.7, above=True)
    _label(axes, "typical year", heights_mm, typical, share=0.8, above=True)
    _label(axes, "fastest year", heights_mm, fastest, share=0.85)
    _mark_answer(axes, told)
    _mark_asked(axes, told.asked)
    axes.set_xlabel("height it is cut to, mm")
    axes.set_ylabel("longest interval in the fastest 30 days, days")
    axes.margins(y=0.12)
    axes.set_ylim(bottom=0)
    axes.set_title(
        f"{told.lawn.grass.name}, {told.basis.years[0]} to {told.basis.years[-1]}: "
        f"a cut takes at most {told.lawn.third:.0%}",
        fontsize=10,
    )
    save(figure, path)


def _shown(days: float | None) -> float:
    return LONGEST_SHOWN_D if days is None else min(days, LONGEST_SHOWN_D)


def _label(
    axes: Any, text: str, across: list[float], up: list[float], *, share: float, above: bool = False
) -> None:
    """Write a name at a line instead of into a legend."""
    index = min(int(share * len(across)), len(across) - 1)
    axes.annotate(
        text,
        (across[index], up[index]),
        xytext=(-4, 6) if above else (4, -6),
        textcoords="offset points",
        ha="right" if above else "left",
        va="bottom" if above else "top",
        fontsize=8,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
    )


def _mark_answer(axes: Any, told: Keeping) -> None:
    if told.answer is None:
        return
    every, lowest_mm = told.answer.every_days, told.answer.lowest_mm
    axes.axhline(every, color=QUIET, linestyle="--", linewidth=1)
    if lowest_mm is None:
        _point(axes, told.heights[-1].height_mm, every, "X", f"every {every} d: no height keeps it", "right")
        return
    _point(axes, lowest_mm, every, "D", f"every {every} d: {lowest_mm:g} mm and higher", "right")


def _mark_asked(axes: Any, asked: HeightNeed | None) -> None:
    if asked is None:
        return
    axes.axvline(asked.height_mm, color=QUIET, linestyle=":", linewidth=1)
    told = "no cut" if asked.whole_days is None else f"every {asked.whole_days} d"
    _point(axes, asked.height_mm, _shown(asked.days), "o", f"{asked.height_mm:g} mm: {told}", "left")


def _point(axes: Any, across: float, up: float, marker: str, text: str, side: str) -> None:
    axes.plot(
        [across], [up], marker, color=INK, markersize=8, markerfacecolor="white", clip_on=False, zorder=5
    )
    axes.annotate(
        text,
        (across, up),
        xytext=(-8, 8) if side == "right" else (10, -14),
        textcoords="offset points",
        ha=side,
        fontsize=9,
        zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1, "alpha": 0.85},
    )
