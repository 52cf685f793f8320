"""A folder of recordings to a folder of results: what stands already is not made again.

On a week of rides, loading libraries takes as long as the work. So one more process reads the files while this one loads
what analyses them, loads what sums up and draws while they are analysed, and does that while the tables are written.
"""

from __future__ import annotations

from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Any

from gpsq import cache, executors
from gpsq.aside import Aside

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from gpsq.cache import Cache
    from gpsq.model import Analysis
    from gpsq.reading.folder import Readings


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
    left as they are. `say` is told when code has to be compiled first. The rest is as in `gpsq.analysis.analyse` and
    `gpsq.output.write.write_results`.
    """
    aside = Aside()  # before anything heavy is loaded and before there are threads
    store = cache.beside(folder)
    how: dict[str, Any] = {}
    if executor is None and _is_little(folder):
        how = {"read": partial(_taken_over, aside.begin(_read, folder, store), store), "begin": aside.begin}
    aside.begin(_load_what_draws)
    from gpsq import _compiled
    from gpsq.align import wake
    from gpsq.analysis import analyse
    from gpsq.output import unchanged

    if say:
        _compiled.tell_once(say)
    if not aside.has_answered():
        wake()

    def tell(what: str, done: int, of: int) -> None:
        if what == "summing up" and done == 0:
            _load_what_writes()
        if on_progress:
            on_progress(what, done, of)

    def write() -> Sequence[Path]:
        from gpsq.output.write import write_results

        return write_results(analysis, out, tiles=tiles, parquet=parquet, begin=aside.begin)

    analysis = analyse(folder, cut_passes=cut_passes, executor=executor, cache=store, on_progress=tell, **how)
    unchanged.write(store, (analysis, tiles, parquet), out, write)
    if store:
        store.forget_unused()
    return analysis


def _is_little(folder: Path) -> bool:
    """Whether a folder holds so little that one process reads and analyses it."""
    from gpsq.reading.listing import find_files

    return sum(executors.fixes_in(found.path) for found in find_files(folder).files) < executors.WORTH_A_POOL


def _read(folder: Path, store: Cache | None) -> tuple[Readings, set[str]]:
    """Return what is read of a folder, and which answers of its cache were used."""
    from gpsq.reading import read_folder
    from gpsq.recalling import Recalling

    here = executors.Local(processes=1)
    readings = read_folder(folder, executor=Recalling(here, store) if store else here)
    return readings, store.used if store else set()


def _taken_over(
    reading: Callable[[], tuple[Readings, set[str]]], store: Cache | None, _folder: Path, **_: Any
) -> Readings:
    """Return what was read aside, in place of reading the folder here."""
    readings, used = reading()
    if store:
        store.used |= used
    return readings


def _load_what_draws() -> None:
    for name in ("scipy.stats", "folium", "gpsq.output.charts", "gpsq.output.maps", "gpsq.summaries"):
        import_module(name)


def _load_what_writes() -> None:
    for name in ("geopandas", "gpsq.output.write", "gpsq.output.layers", "gpsq.output.page", "gpsq.output.tables"):
        import_module(name)
