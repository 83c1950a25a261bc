"""Reads grasses and soils from ``grasses.toml``; every mistake in the file is named at once."""

import tomllib
from collections.abc import Mapping
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from mowalert.domain.grasses import Grass, Turf
from mowalert.errors import ConfigError

GRASS = TypeAdapter(Grass)


def load_turf(path: Path) -> Turf:
    """Read a file of grasses.

    Parameters
    ----------
    path : Path
        A ``grasses.toml``.

    Returns
    -------
    Turf
        Its grasses and soils.

    Raises
    ------
    ConfigError
        If the file cannot be read, or a value is missing or cannot be.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise ConfigError(f"{path}: {error}") from error
    problems: list[str] = []
    grasses = {
        grass_id: grass
        for grass_id, values in table.get("grasses", {}).items()
        if (grass := _grass(path, grass_id, values, table.get("common", {}), problems)) is not None
    }
    if problems:
        raise ConfigError("\n".join(problems))
    return Turf(grasses, {name: float(share) for name, share in table.get("soils", {}).items()})


def _grass(
    path: Path,
    grass_id: str,
    values: Mapping[str, object],
    common: Mapping[str, Mapping[str, object]],
    problems: list[str],
) -> Grass | None:
    season = common.get(str(values.get("season")), {})
    try:
        grass = GRASS.validate_python({"grass_id": grass_id, **season, **values})
    except ValidationError as error:
        problems += [
            f"{path}: grasses.{grass_id}.{'.'.join(map(str, entry['loc']))}: "
            f"found {entry.get('input')!r}; {entry['msg']}"
            for entry in error.errors()
        ]
        return None
    if not grass.base_c < grass.opt_c < grass.max_c:
        problems.append(f"{path}: grasses.{grass_id}: base_c < opt_c < max_c is needed")
    return grass
