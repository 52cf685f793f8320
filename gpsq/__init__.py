"""gpsq judges the quality of repeated GPS tracks.

Each stage is a module of free functions; the names below are the modules and types a script needs.
Nothing heavy is imported here: ``import gpsq`` stays light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.pipeline.frames import Frames


def analyse(folder: str | Path) -> Frames:
    """Analyse the campaign in a folder and return its tables and layers as frames; nothing is written.

    The frames are those of the results folder: `tracks`, `devices`, `deviations` and so on, with the same columns
    (see `gpsq.pipeline.frames.Frames`). A worked page is in ``docs/notebook.md``.

    Raises
    ------
    gpsq.exceptions.InputError
        Where nothing in the folder can be analysed, or its campaign file cannot be followed.
    """
    from gpsq.pipeline.frames import frames_of

    return frames_of(folder)
