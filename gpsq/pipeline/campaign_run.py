"""A folder of recordings to a folder of results: what stands already is not made again.

On a week of rides, loading libraries takes as long as the work. So one more process reads the files while this one loads
what analyses them, loads what sums up and draws while they are analysed, and does that while the tables are written.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from gpsq.pipeline import cache, executors
from gpsq.pipeline.second_process import Aside

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from gpsq.pipeline.cache import Cache
    from gpsq.reading.folder import Readings
    from gpsq.results import Analysis


def analyse_into(
    folder: Path,
    out: Path,
    *,
    tiles: str | None = None,
    parquet: bool = False,
    cut_passes: bool = False,
    executor: Executor | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
    say: Callable[[str], None] | None = None,
) -> Analysis:
    """Analyse the campaign in a folder, write the results into `out`, and return the analysis.

    What was worked out before and still holds is taken from the campaign's cache, and results that stand already are
    left as they are. `say` is told when code has to be compiled first. The rest is as in `gpsq.pipeline.analysis.analyse` and
    `gpsq.output.results_folder.write_results`.
    """
    aside = Aside()  # before anything heavy is loaded and before there are threads
    store = cache.beside(folder)
    reading = aside.begin(_read_little, folder, store) if executor is None else None
    aside.begin(_load_what_draws)
    from gpsq.geometry import _compiled
    from gpsq.geometry.alignment import wake
    from gpsq.pipeline import unchanged
    from gpsq.pipeline.analysis import analyse

    if say:
        _compiled.tell_once(say)
    if not aside.has_answered():
        wake()

    def write() -> Sequence[Path]:
        from gpsq.output.results_folder import write_results

        return write_results(analysis, out, tiles=tiles, parquet=parquet, begin=aside.begin)

    beside = _from_aside(reading(), aside, store) if reading else {}
    analysis = analyse(folder, cut_passes=cut_passes, executor=executor, cache=store, on_progress=on_progress, **beside)
    unchanged.write(store, (analysis, tiles, parquet), out, write)
    if store:
        store.forget_unused()
    return analysis


def _read_little(folder: Path, store: Cache | None) -> tuple[Readings, set[str]] | None:
    """Return what is read of a folder with little in it, and which answers of its cache were used; None of a large one."""
    from gpsq.pipeline.remembering import Recalling
    from gpsq.reading import read_folder
    from gpsq.reading.listing import find_files

    if sum(executors.fixes_in(found.path) for found in find_files(folder).files) >= executors.WORTH_A_POOL:
        return None
    here = executors.Local(processes=1)
    readings = read_folder(folder, executor=Recalling(here, store) if store else here)
    return readings, store.used if store else set()


def _from_aside(found: tuple[Readings, set[str]] | None, aside: Aside, store: Cache | None) -> dict[str, Any]:
    """Return how `analyse` gets at what was read aside, and has figures summed up there; nothing of a large folder."""
    if found is None:
        return {}
    readings, used = found
    if store:
        store.used |= used
    return {"read": lambda *_, **__: readings, "begin": aside.begin}


def _load_what_draws() -> None:
    for name in (
        "scipy.stats",
        "matplotlib.figure",
        "matplotlib.backends.backend_agg",
        "matplotlib.backends.backend_svg",
        "gpsq.output.charts.all_charts",
        "gpsq.output.report.page",
        "gpsq.summaries.summarise",
    ):
        import_module(name)
