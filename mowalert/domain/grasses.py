"""What a grass and a soil are to the model."""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from mowalert.domain.words import Season
from mowalert.errors import InputError


@dataclass(frozen=True, slots=True)
class Grass:
    """One grass: temperatures in °C, growth in mm/d, heights in mm, feed in lb/1000 ft²/yr.

    Each field's unit and source stand in ``config/grasses.toml``.
    """

    grass_id: str
    name: str
    season: Season
    base_c: float
    opt_c: float
    max_c: float
    g50_mm_d: float
    ceiling_mm: float
    full_feed_n: float
    deep_roots: bool
    dormant_after_d: int
    lowest_mm: float
    highest_mm: float
    usual_mm: tuple[float, float]
    kc: float
    depletion_p: float
    full_light_mj_m2: float

    @property
    def warm(self) -> bool:
        """Whether it is a warm-season grass."""
        return self.season is Season.WARM


@dataclass(frozen=True, slots=True)
class Turf:
    """Every grass and soil the program knows."""

    grasses: Mapping[str, Grass]
    soils_m3_m3: Mapping[str, float]

    def grass(self, said: str) -> Grass:
        """Return the grass by id or name; InputError with the nearest names if unknown."""
        wanted = said.strip().casefold().replace(" ", "_").replace("-", "_").replace(".", "")
        for grass_id, grass in self.grasses.items():
            # "Blue grass" and "bluegrass" are one.
            if wanted.replace("_", "") == grass_id.replace("_", ""):
                return grass
        raise InputError(f"{said!r} is no grass known here; {self._nearest(wanted)}")

    def _nearest(self, wanted: str) -> str:
        near = get_close_matches(wanted, self.grasses, n=3, cutoff=0.5) or [
            name for name in self.grasses if any(part in name for part in wanted.split("_") if len(part) > 3)
        ]
        *others, last = near or [""]
        return (
            f"did you mean {', '.join(others)}{' or ' if others else ''}{last}?"
            if near
            else f"known are {', '.join(self.grasses)}"
        )

    def soil(self, said: str) -> str:
        """Return the soil's id; InputError naming the known ones if unknown."""
        wanted = said.strip().casefold().replace(" ", "_").replace("-", "_")
        if wanted not in self.soils_m3_m3:
            raise InputError(f"{said!r} is no soil known here; known are {', '.join(self.soils_m3_m3)}")
        return wanted
