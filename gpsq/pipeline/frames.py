"""All that an analysis found as frames, for notebooks: tables and layers under the names of the results folder."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq.summaries.flat_rows import flat_row

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas
    import pandas as pd

    from gpsq.results import Analysis


#: Kinds of summaries that have a table of their own, with chosen columns.
TABLED = ("devices", "comparisons", "reference")


@dataclass(frozen=True, eq=False)
class Frames:
    """Frames of one campaign; columns are those of the results folder, an unknown value is missing.

    Attributes
    ----------
    tracks, devices, deviations, set_aside : as the CSV files of the same names.
    start_states : time to first fix of each device within each start state.
    comparisons : two devices on the same rides, as ``comparisons.csv``.
    error_variances : each device's own error where three or more rode together.
    hot_spots : stretches where traces spread more than chance makes; hot_spot_searches : what would have been seen.
    offsets_between : how far two devices lie apart on the ground.
    ranks, route_ratios : places of devices by repeatability with how sure they are, and each device on two routes.
    quality_classes, quality_trends : error by hdop and satellites, where recorded.
    distance_biases : recorded length against the centreline's, and the likely reason.
    reference : trueness, repeatability and accuracy against the reference lines, as ``reference.csv``.
    earlier : devices against those of earlier campaigns, by way of what was carried along.
    layers : geopandas frames in EPSG:4326 by the names of the GeoPackage's layers.
    analysis : the whole result, with the offsets at every station.
    """

    tracks: pd.DataFrame
    devices: pd.DataFrame
    deviations: pd.DataFrame
    set_aside: pd.DataFrame
    start_states: pd.DataFrame
    comparisons: pd.DataFrame
    error_variances: pd.DataFrame
    hot_spots: pd.DataFrame
    hot_spot_searches: pd.DataFrame
    offsets_between: pd.DataFrame
    ranks: pd.DataFrame
    route_ratios: pd.DataFrame
    quality_classes: pd.DataFrame
    quality_trends: pd.DataFrame
    distance_biases: pd.DataFrame
    reference: pd.DataFrame
    earlier: pd.DataFrame
    layers: Mapping[str, geopandas.GeoDataFrame]
    analysis: Analysis


def analyse(folder: str | Path) -> Frames:
    """Analyse the campaign in a folder and return its tables and layers as frames; nothing is written.

    The frames are those of the results folder, with the same columns. A worked page is in ``docs/notebook.md``.

    Raises
    ------
    InputError
        Where nothing in the folder can be analysed, or its campaign file cannot be followed.
    """
    from gpsq.pipeline.analysis import analyse as analysis_of

    return frames(analysis_of(Path(folder)))


def frames(analysis: Analysis) -> Frames:
    """Return the frames of an analysis."""
    import pandas as pd

    from gpsq.output.tables import layers, tables

    kinds = [f.name for f in fields(analysis.summaries) if f.name not in TABLED]
    summed = {name: pd.DataFrame([flat_row(row) for row in getattr(analysis.summaries, name)]) for name in kinds}
    return Frames(
        tracks=tables.tracks(analysis),
        devices=tables.devices(analysis),
        deviations=tables.deviations(analysis),
        comparisons=tables.comparisons(analysis),
        set_aside=tables.set_aside(analysis),
        reference=tables.reference(analysis),
        layers=layers.frames(analysis),
        analysis=analysis,
        **summed,
    )
