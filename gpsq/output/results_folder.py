"""The results folder: written aside, then put in place in one step, so that earlier results are whole at any moment."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq.exceptions import OutputError
from gpsq.output import run_file, share
from gpsq.output.folder_swap import replaced

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from gpsq.output.drawing.rendering import Chart
    from gpsq.results import Analysis

#: A disk with less left than this is full: an empty geopackage takes more.
LEAST_BYTES = 2**17


def write_results(
    analysis: Analysis,
    out: Path,
    *,
    tiles: str | None = None,
    parquet: bool = False,
    drawn: Callable[[], Mapping[str, str | bytes]] | None = None,
) -> list[Path]:
    """Write all results of an analysis into the folder `out`, in place of earlier ones.

    Parameters
    ----------
    analysis : Analysis
        What was found.
    out : Path
        The results folder. Files in it that gpsq did not write are kept.
    drawn : callable, optional
        Gives what `report` gives, once it is made elsewhere; without it, the report is made here.
    parquet : bool, optional
        Write each layer as GeoParquet too, into the folder ``layers``; needs pyarrow.
    tiles : str, optional
        Name of a provider of background tiles for the map; without one, nothing is ever fetched.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    OutputError
        When the folder is not one of gpsq's, or cannot be written; earlier results then stay as they were.
    """
    with replaced(out) as aside:
        for name, content in _texts(analysis, tiles).items():
            _put(aside / name, content)
        _geopackage(analysis, aside / "results.gpkg")
        if parquet:
            _geoparquet(analysis, aside / "layers")
        for name, content in (drawn() if drawn else report(analysis)).items():
            _put(aside / name, content)
        if analysis.published:
            pages = [(aside / name).read_text("utf-8") for name in ("report.html", "map.html")]
            _put(aside / share.NAME, share.shared_page(*pages))
        names = [path.relative_to(aside).as_posix() for path in aside.rglob("*") if path.is_file()]
        _put(aside / run_file.NAME, run_file.run_text(analysis, [*names, run_file.NAME]))
    return [out / name for name in sorted([*names, run_file.NAME])]


def report(analysis: Analysis, overlays: tuple[Chart, ...] | None = None) -> dict[str, str | bytes]:
    """Return the report and the charts that it shows, by name of file; `overlays` where these are drawn already."""
    from gpsq.output.charts import all_charts
    from gpsq.output.report import page

    figures = all_charts.figures(analysis, overlays)
    return {"report.html": page.report_page(analysis, figures)} | all_charts.files(figures)


def _texts(analysis: Analysis, tiles: str | None) -> dict[str, str | bytes]:
    """Return the tables, lines and map, by name of file."""
    from gpsq.output.map import page
    from gpsq.output.tables import centrelines_gpx, layer_styles, layers, tables

    return {
        "tracks.csv": tables.csv_text(tables.tracks(analysis)),
        "deviations.csv": tables.csv_text(tables.deviations(analysis)),
        "devices.csv": tables.csv_text(tables.devices(analysis)),
        "comparisons.csv": tables.csv_text(tables.comparisons(analysis)),
        "set_aside.csv": tables.csv_text(tables.set_aside(analysis)),
        "centrelines.geojson": layers.centrelines_geojson(analysis),
        "centrelines.gpx": centrelines_gpx.centrelines_gpx(analysis),
        "map.html": page.map_page(analysis, tiles=tiles),
        **({"reference.csv": tables.csv_text(tables.reference(analysis))} if analysis.summaries.reference else {}),
        **layer_styles.files(),
    }


def _put(path: Path, content: str | bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)


def _geoparquet(analysis: Analysis, folder: Path) -> None:
    from gpsq.output.tables.layers import write_geoparquet

    folder.mkdir(exist_ok=True)
    write_geoparquet(analysis, folder)


def _geopackage(analysis: Analysis, path: Path) -> None:
    import sqlite3

    from pyogrio.errors import DataLayerError, DataSourceError

    from gpsq.output.tables.layers import write_geopackage

    try:
        with _spelled(path) as spelled:
            write_geopackage(analysis, spelled)
    except (DataLayerError, DataSourceError, sqlite3.Error) as failed:
        is_full = shutil.disk_usage(path.parent).free < LEAST_BYTES  # the library tells which of its statements failed
        why = os.strerror(errno.ENOSPC) if is_full else failed
        raise OutputError(f"{path.name}: cannot be written: {why}") from failed


@contextmanager
def _spelled(path: Path) -> Iterator[Path]:
    """Give a path that is text, for a library that takes no other; what is written there ends up at `path`."""
    try:
        os.fspath(path).encode("utf-8")
    except UnicodeEncodeError:
        with tempfile.TemporaryDirectory() as folder:
            elsewhere = Path(folder, path.name)
            yield elsewhere
            shutil.move(elsewhere, path)
    else:
        yield path
