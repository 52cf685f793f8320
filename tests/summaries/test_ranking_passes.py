"""Ranks and sites of the open passes through a park (data/park_passes of umrlastig/tracklib, CeCILL-C)."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

from gpsq.pipeline.analysis import analyse
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.ranking import compare_places, rank_by_repeatability
from gpsq.summary_types import DeviceSummary, Interval


@pytest.mark.open_data
@pytest.mark.parametrize("site", ["FC", "MC"])
def test_the_rough_module_never_ranks_first(shared, tmp_path, site):
    # The data's own description: the module is very noisy, its summed length is three to eight times the path.
    for device in (shared / "data" / "park_passes" / site).iterdir():
        (tmp_path / device.name).mkdir()
        shutil.copy(device / "pos.gpx", tmp_path / device.name)
    found = analyse(tmp_path)
    places = rank_by_repeatability(found.traces, found.results, found.routes, found.settings)
    (module,) = (p for p in places if p.device == "module")
    assert module.first_share < 0.05
    assert module.place >= 3
    assert module.rides >= 5
    assert sum(p.first_share for p in places) == pytest.approx(1.0)
    assert all(p.best <= p.place <= p.worst for p in places)
    summaries = summarise(found.traces, found.results, found.routes, found.settings)
    spread = {s.device: s.figures["repeatability_m"].value for s in summaries if not s.route}
    assert spread["module"] > 1.5 * max(spread["watch-2"], spread["phone"])


def summary(route: str, figure: Interval) -> DeviceSummary:
    return DeviceSummary("a", route, 5, {"repeatability_m": figure})


def test_places_differ_only_where_the_interval_says_so():
    clear = compare_places([summary("A", Interval(4.0, 3.6, 4.4)), summary("B", Interval(2.0, 1.8, 2.2))])[0]
    # Donner & Zou: log bounds add in squares; log(4/3.6) = 0.1054 and log(2.2/2) = 0.0953 give 0.1421 downward.
    assert clear.ratio.low == pytest.approx(2 * np.exp(-0.1421), rel=1e-3)
    assert clear.verdict == "a scatters more on A than on B, ratio 2.00 (1.74 to 2.31)"
    unclear = compare_places([summary("A", Interval(4.0, 1.0, 16.0)), summary("B", Interval(2.0, 1.8, 2.2))])[0]
    assert "cannot be told apart" in unclear.verdict
    unknown = compare_places([summary("A", Interval(4.0)), summary("B", Interval(2.0, 1.8, 2.2))])[0]
    assert "nothing can be said" in unknown.verdict
