"""Plots that read without colour."""

from pathlib import Path

import matplotlib as mpl
from matplotlib import pyplot as plt

from mowalert.domain.season import Season
from mowalert.domain.thirds import limit_height_mm
from mowalert.errors import InputError
from mowalert.service.simulate import SeasonLawn

mpl.use("Agg")
INK, QUIET = "#2f4a6d", "#8a8478"
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
    try:
        figure.savefig(path, dpi=120)
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be written: {error}") from error
    finally:
        plt.close(figure)
