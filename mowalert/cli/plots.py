"""Plots that read without colour."""

from datetime import timedelta
from pathlib import Path

import matplotlib as mpl
from matplotlib import pyplot as plt
from matplotlib.figure import Figure

from mowalert.domain.season import Season
from mowalert.domain.thirds import limit_height_mm
from mowalert.errors import InputError
from mowalert.service.lawns.look import LawnOutlook
from mowalert.service.region.simulate import SeasonLawn

mpl.use("Agg")
INK, QUIET = "#2f4a6d", "#5a554b"
HATCHES = {"heat": "//", "drought": "\\\\", "dormant": "xx", "cold": "..", "waterlogged": "oo"}


def draw_season(season: Season, lawn: SeasonLawn, path: Path) -> None:
    """Draw height, cuts and holds of a season; InputError if the file cannot be written."""
    figure, axes = plt.subplots(figsize=(11, 4.2), layout="constrained")
    days = [day.on for day in season.days]
    axes.plot(days, [day.height_mm for day in season.days], color=INK, linewidth=1.2, label="height")
    axes.axhline(lawn.height_mm, color=QUIET, linewidth=1, label="chosen height")
    axes.axhline(limit_height_mm(lawn.height_mm), color=QUIET, linestyle="--", linewidth=1, label="limit")
    cuts = season.mowings
    axes.plot(
        [cut.on for cut in cuts],
        [cut.height_after_mm for cut in cuts],
        "v",
        color=INK,
        markersize=4,
        label="cut",
    )
    named = set()
    for hold in season.holds:
        label = None if hold.reason in named else f"hold: {hold.reason}"
        named.add(hold.reason)
        axes.axvspan(
            hold.start,
            hold.end,
            facecolor="none",
            edgecolor=QUIET,
            hatch=HATCHES.get(hold.reason),
            alpha=0.5,
            label=label,
        )
    axes.set_ylabel("mm")
    axes.set_ylim(bottom=0)
    axes.set_title(f"{lawn.grass.name} kept at {lawn.height_mm:g} mm: {season.summary.mowings} cuts")
    axes.legend(loc="upper left", ncols=4, frameon=False, fontsize=8)
    save(figure, path)


def draw_outlook(seen: LawnOutlook, grass_name: str, path: Path) -> None:
    """Draw a lawn's days ahead with their spread; InputError if the file cannot be written."""
    figure, axes = plt.subplots(figsize=(8, 4), layout="constrained")
    days = [day.on for day in seen.days]
    axes.plot(days, [day.height_mm for day in seen.days], "o-", color=INK, markersize=3, linewidth=1.4)
    spread = [(day.on, day.low_mm, day.high_mm) for day in seen.days if day.low_mm is not None]
    if spread:
        on, low, high = zip(*spread, strict=True)
        axes.fill_between(on, low, high, facecolor="none", edgecolor=INK, hatch="....", alpha=0.35)
        where = {"xy": (on[-1], low[0]), "ha": "right", "va": "bottom", "color": INK}
        axes.annotate("dotted: eight forecasts in ten", **where)
    for mm, name, style in ((seen.lawn.chosen_mm, "kept at", "-"), (seen.limit_mm, "limit", "--")):
        axes.axhline(mm, color=QUIET, linestyle=style, linewidth=1)
        below = {"xytext": (0, -3), "textcoords": "offset points"}
        axes.annotate(f"{name} {mm:.0f} mm", (days[0], mm), va="top", color=QUIET, **below)
    for day in (day for day in seen.days if day.hold):
        half = timedelta(hours=12)
        hatch = HATCHES.get(str(day.hold), "++")
        axes.axvspan(day.on - half, day.on + half, facecolor="none", edgecolor=QUIET, hatch=hatch, alpha=0.5)
    held = sorted({str(day.hold) for day in seen.days if day.hold})
    axes.set_title(f"{seen.place}: {grass_name}" + (f"; hatched days: {', '.join(held)}" if held else ""))
    axes.set_ylabel("mm")
    axes.set_ylim(0, 1.1 * max(seen.limit_mm, *(day.high_mm or day.height_mm for day in seen.days)))
    axes.set_xticks(days, [f"{on:%a %d %b}" for on in days], rotation=30, ha="right")
    save(figure, path)


def save(figure: Figure, path: Path) -> None:
    """Write a picture and let go of it; InputError if the file cannot be written."""
    try:
        figure.savefig(path, dpi=120)
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be written: {error}") from error
    finally:
        plt.close(figure)
