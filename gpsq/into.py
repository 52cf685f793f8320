"""A folder of recordings to a folder of results: what stands already is not made again, and charts are drawn aside."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gpsq.aside import Aside

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from gpsq.model import Analysis


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
    from gpsq import _compiled, cache
    from gpsq.analysis import analyse
    from gpsq.output import unchanged
    from gpsq.output.write import draw, write_results

    waits: list[Callable[[], Any]] = []

    def tell(what: str, done: int, of: int) -> None:
        if what == "analysing routes" and done == 0:
            waits.append(aside.begin(draw, None))
        if on_progress:
            on_progress(what, done, of)

    def write() -> Sequence[Path]:
        for wait in waits:
            wait()
        return write_results(analysis, out, tiles=tiles, parquet=parquet, begin=aside.begin)

    if say:
        _compiled.tell_once(say)
    store = cache.beside(folder)
    analysis = analyse(folder, cut_passes=cut_passes, executor=executor, cache=store, on_progress=tell)
    unchanged.write(store, (analysis, tiles, parquet), out, write)
    if store:
        store.forget_unused()
    return analysis
