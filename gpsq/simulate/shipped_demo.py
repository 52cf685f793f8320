"""The demo campaign that comes with gpsq: a week of invented rides."""

from __future__ import annotations

import shutil
from pathlib import Path

from gpsq.exceptions import OutputError

#: Where the campaign lies in an installed package, and in a checkout.
PLACES = (Path(__file__).parents[1] / "demo_routes", Path(__file__).parents[2] / "demo_routes")


def put(folder: Path) -> None:
    """Put the demo campaign into `folder`; files that are there already stay as they are.

    Raises
    ------
    OutputError
        When the folder cannot be written to.
    """
    source = next((place for place in PLACES if place.is_dir()), None)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if source is None:
            from gpsq.simulate.demo import demo_campaign
            from gpsq.simulate.writing import write

            write(demo_campaign(), folder)
            return
        for file in sorted(source.rglob("*")):
            target = folder / file.relative_to(source)
            if file.is_dir():
                target.mkdir(exist_ok=True)
            elif not target.exists():
                _copy_whole(file, target)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written: {error.strerror or error}") from error


def _copy_whole(file: Path, target: Path) -> None:
    """Copy a file so that its name stands for all of it: half a file would stay as it is ever after."""
    aside = target.with_name(f".{target.name}.part")
    try:
        shutil.copyfile(file, aside)
        aside.replace(target)
    finally:
        aside.unlink(missing_ok=True)
