"""A folder of recordings to a folder of results: what was worked out before, and what stands already, is left as it is."""

from __future__ import annotations

from functools import partial
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, TypeVar

from gpsq import digests
from gpsq.pipeline import cache, executors
from gpsq.pipeline.analysis import analyse_readings, read
from gpsq.pipeline.remembering import analysis_key
from gpsq.pipeline.second_process import ReadsWhileLoading, SecondProcess, load_what_draws, load_what_writes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from gpsq.output.drawing.rendering import Chart
    from gpsq.pipeline.cache import Cache
    from gpsq.results import Analysis
    from gpsq.summaries.summarise import Compared, Elsewhere, Searched

Dealt = TypeVar("Dealt")


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

    What was worked out before and still holds is taken from the user's cache, and results that stand already are left as
    they are. `say` is told when code has to be compiled first. The rest is as in `gpsq.pipeline.analysis.analyse` and
    `gpsq.output.results_folder.write_results`.
    """
    with cache.opened(folder) as store, executors.Local(meanwhile=load_what_writes) as cores:
        drawing = _Drawing(SecondProcess(), cores)
        reads = executor or ReadsWhileLoading(drawing.second, cores, partial(_load_what_measures, say, drawing.second))
        readings = read(folder, executor=reads, cache=store, on_progress=on_progress)
        key = analysis_key(readings, cut_passes=cut_passes) if store else ""
        if not (store and key in store) and not cores.is_much([(list(readings.traces),)]):
            drawing.second.begin(load_what_draws)
        analysis = analyse_readings(
            readings,
            cut_passes=cut_passes,
            executor=executor or cores,
            cache=store,
            on_progress=on_progress,
            on_measured=drawing.begin_beside_summing_up,
        )
        write = partial(_write, analysis, out, drawing, tiles=tiles, parquet=parquet)
        write_unless_standing(store, (key, analysis.folder, tiles, parquet), out, write)
    return analysis


class _Drawing:
    """What is done beside this process: the overlays as soon as all is measured, the report when all is summed up.

    That is done in the second process, or where much was read each in a copy made for it.
    """

    def __init__(self, second: SecondProcess, cores: executors.Local) -> None:
        self.second, self.cores = second, cores
        self.overlays: list[Callable[[], tuple[Chart, ...]]] = []

    def begin_beside_summing_up(self, measured: Analysis) -> Elsewhere | None:
        """Begin to draw the overlays; of a large run also to search for places and compare devices, and return what waits.

        The cores have nothing more to share, so copies of this process take it on: one a core for overlays and search.
        """
        if self.second.is_there:
            self._begin(_draw_and_keep, measured)
            return None
        parts = self.cores.processes
        self.overlays = [self._begin(_overlays, measured, part, parts) for part in range(parts)]
        searched = [self._begin(places_that_stand_out, measured, part, parts) for part in range(parts)]
        return lambda: in_turn([found() for found in searched]), self._begin(devices_compared, measured)

    def begin_report(self, analysis: Analysis) -> Callable[[], Mapping[str, str | bytes]]:
        """Begin to make the report, and return what waits for it."""
        drawn = in_turn([drawn() for drawn in self.overlays]) if self.overlays else None
        self.overlays = []  # and with them go the copies that drew them
        return self._begin(_report, analysis, drawn)

    def _begin(self, fn: Callable[..., Any], *arguments: Any) -> Callable[[], Any]:
        self.cores.shutdown()  # while its threads are about, no process is copied
        return (self.second if self.second.is_there else SecondProcess()).begin(fn, *arguments)


def _overlays(measured: Analysis, part: int, parts: int) -> tuple[Chart, ...]:
    from gpsq.output.charts import all_charts

    return all_charts.overlays(measured, part, parts)


#: In the second process, the overlays that it has drawn: so many pictures do not travel twice.
_kept: list[tuple[Chart, ...]] = []


def _draw_and_keep(measured: Analysis) -> None:
    _kept[:] = [_overlays(measured, 0, 1)]


def _report(analysis: Analysis, drawn: tuple[Chart, ...] | None) -> Mapping[str, str | bytes]:
    """Make the report with the overlays that were drawn before, here or elsewhere, or with its own."""
    from gpsq.output.results_folder import report

    return report(analysis, _kept.pop() if _kept else drawn)


def places_that_stand_out(measured: Analysis, part: int, parts: int) -> Searched:
    """Search for places on a part of the routes; what searches is loaded here."""
    from gpsq.summaries import summarise

    return summarise.places_that_stand_out(measured, part, parts)


def devices_compared(measured: Analysis) -> Compared:
    """Compare the devices; what compares them is loaded here."""
    from gpsq.summaries import summarise

    return summarise.devices_compared(measured)


def in_turn(parts: Sequence[Sequence[Dealt]]) -> tuple[Dealt, ...]:
    """Return what was dealt out in turn in its order.

    >>> in_turn([("a", "c", "e"), ("b", "d")])
    ('a', 'b', 'c', 'd', 'e')
    """
    dealt = zip_longest(*parts)
    return tuple(one for round_ in dealt for one in round_ if one is not None)


def _load_what_measures(say: Callable[[str], None] | None, second: SecondProcess) -> None:
    from gpsq.geometry import _compiled, alignment, curve_distances
    from gpsq.pipeline import stages  # noqa: F401 - loaded for what comes next

    is_compiled_now = _compiled.tell_once(say)
    alignment.wake()
    if is_compiled_now() and second.is_there:
        second.begin(curve_distances.wake)  # it keeps them on disk, where they are found when lines are made


def _write(analysis: Analysis, out: Path, drawing: _Drawing, *, tiles: str | None, parquet: bool) -> Sequence[Path]:
    from gpsq.output.results_folder import write_results

    drawn = drawing.begin_report(analysis)  # the longest part, made beside the rest
    return write_results(analysis, out, tiles=tiles, parquet=parquet, drawn=drawn)


def write_unless_standing(store: Cache | None, what: Any, out: Path, write: Callable[[], Sequence[Path]]) -> None:
    """Write results of `what` into a folder by `write`, which returns the files, unless they stand there already.

    Parameters
    ----------
    store : where is kept what stood in the folder at the end; None writes always.
    what : all that the results depend on.
    """
    if store is None:
        write()
        return
    key = digests.digest("results", digests.code(), what, out.absolute())
    left = store.get(key)
    if left is None or left != _standing(out, left):
        files = write()
        store.put(key, _standing(out, [file.relative_to(out).as_posix() for file in files]))


def _standing(out: Path, names: Iterable[str]) -> dict[str, str]:
    """Return a digest of each file of those names, "" where it cannot be read."""
    found = {}
    for name in names:
        try:
            found[name] = digests.file_sha256(out / name)
        except OSError:
            found[name] = ""
    return found
