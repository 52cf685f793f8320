"""A folder of repeated rides to everything that can be said of it: read, put in order, analysed, each unless remembered.

What measures is loaded only where something is measured: a campaign in which nothing has changed needs none of it.
"""

from __future__ import annotations

import dataclasses
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq.campaign import leftovers
from gpsq.exceptions import NothingToAnalyse
from gpsq.output import folder_swap
from gpsq.pipeline.executors import given_or_local
from gpsq.pipeline.remembering import analysis_key, arranged_key, each_file, remembered
from gpsq.reading import read_folder
from gpsq.reading.listing import kinds

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from concurrent.futures import Executor

    from gpsq.pipeline.cache import Cache
    from gpsq.reading import Readings
    from gpsq.results import Analysis
    from gpsq.rides.arrange import Arranged
    from gpsq.summaries.summarise import Elsewhere

    Telling = Callable[[str, int, int], None]

#: The kinds of file that are read.
READ = "GPX, NMEA 0183 or CSV, zipped or not"


def analyse(
    folder: Path,
    *,
    cut_passes: bool = False,
    executor: Executor | None = None,
    cache: Cache | None = None,
    on_progress: Telling | None = None,
) -> Analysis:
    """Analyse the campaign in a folder: `read`, then `analyse_readings`.

    Parameters
    ----------
    folder : Path
        Recordings at any depth, with ``rides.csv``, ``campaign.toml`` and ``flags.csv`` where there are any.
    cut_passes : bool
        Cut recordings that hold many passes; ``cut_passes = true`` in ``campaign.toml`` asks for the same.
    executor : Executor, optional
        Reads files and analyses routes side by side; the results are the same. Without one, the cores of this machine
        share the work where it is large.
    cache : Cache, optional
        What was worked out before and still holds is taken from it (see `gpsq.pipeline.cache.opened`).
    on_progress : callable, optional
        Told (what is being done, how many are done, how many there are).

    Returns
    -------
    Analysis

    Raises
    ------
    NothingToAnalyse
        When no recording in the folder can be read.
    CampaignError
        When ``campaign.toml`` cannot be followed.
    """
    with given_or_local(executor) as engine:
        readings = read(folder, executor=engine, cache=cache, on_progress=on_progress)
        return analyse_readings(readings, cut_passes=cut_passes, executor=engine, cache=cache, on_progress=on_progress)


def read(
    folder: Path, *, executor: Executor, cache: Cache | None = None, on_progress: Telling | None = None
) -> Readings:
    """Read all that a campaign's folder holds; files that were read before come from the cache.

    What killed runs left beside the recordings is deleted first.
    """
    leftovers.sweep(Path(folder))
    folder_swap.clear(Path(folder))
    tell = partial(on_progress, "reading") if on_progress else None
    return read_folder(Path(folder), each=partial(each_file, cache, executor.map), on_progress=tell)


def analyse_readings(
    readings: Readings,
    *,
    cut_passes: bool = False,
    executor: Executor | None = None,
    cache: Cache | None = None,
    on_progress: Telling | None = None,
    on_measured: Callable[[Analysis], Elsewhere | None] | None = None,
) -> Analysis:
    """Analyse what was read of a campaign; no file is opened but those of the cache. The rest is as in `analyse`.

    `on_measured` is given the analysis before it is summed up, unless it is remembered; it may return what waits for
    summaries that are worked out elsewhere (`gpsq.pipeline.stages.Means`).
    """
    if not readings.traces:
        raise NothingToAnalyse(readings.folder, *_nothing(readings), tuple(u.message for u in readings.unreadable))
    with given_or_local(executor) as engine:
        key = partial(analysis_key, readings, cut_passes=cut_passes)
        told = {"tell": on_progress, "measured": on_measured}
        work = partial(_analysed, readings, cut_passes or readings.campaign.cut_passes, engine, cache, told)
        found = remembered(cache, key, work, given=readings.traces)
    return dataclasses.replace(found, folder=readings.folder)


def _analysed(
    readings: Readings, cut: bool, engine: Executor, cache: Cache | None, told: Mapping[str, Any]
) -> Analysis:
    from gpsq.pipeline import stages

    key, work = partial(arranged_key, readings, cut=cut), partial(_arranged, readings, cut, engine)
    arranged = remembered(cache, key, work, given=readings.traces)
    listening = {name: hears for name, hears in told.items() if hears}
    return stages.analysed(readings, arranged, stages.Means(engine.map, cache, **listening))


def _arranged(readings: Readings, cut: bool, engine: Executor) -> Arranged:
    from gpsq.rides.arrange import arrange

    return arrange(readings.traces, readings.campaign.settings, cut=cut, each=engine.map)


def _nothing(readings: Readings) -> tuple[str, str]:
    """Return what was found where there is no recording, and what would have been one."""
    lost, others = len(readings.unreadable), len(readings.others)
    if lost:
        more = f", and {others} of kinds that are not read ({kinds(readings.others)})" if others else ""
        return f"{lost} file{'s' * (lost > 1)}, none of which can be read{more}", "recordings of rides"
    if others:
        found = f"{others} file{'s' * (others > 1)}, none of a kind that is read ({kinds(readings.others)})"
        return found, f"{READ}: export as GPX"
    return "no recording", f"recordings of rides: {READ}"
