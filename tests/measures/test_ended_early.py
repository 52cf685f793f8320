"""How far before the end of its route a recording stopped, against ends laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.measures.ended_early import early_m

EVERYONE = np.ones(6, dtype=bool)


def test_one_that_stopped_is_measured_from_where_its_fellows_end():
    found = early_m(np.array([4000.0, 4010.0, 1800.0, 3990.0, 4004.0, 3996.0]), EVERYONE)
    assert found[2] == pytest.approx(2200.0)
    assert np.isnan(np.delete(found, 2)).all()


def test_who_stops_round_the_corner_or_anywhere_in_a_wide_scatter_has_arrived():
    assert np.isnan(early_m(np.array([4000.0, 4010.0, 3905.0, 3990.0, 4004.0, 3996.0]), EVERYONE)).all()
    assert np.isnan(early_m(np.array([4000.0, 3940.0, 3880.0, 3995.0, 3938.0, 3720.0]), EVERYONE)).all()
    # the same fellows, each within some metres, make of the last one a recording that stopped
    near = early_m(np.array([4000.0, 3998.0, 3996.0, 3995.0, 4002.0, 3700.0]), EVERYONE)
    assert near[5] == pytest.approx(298.0)


def test_a_copy_bears_no_witness_and_unknown_ends_say_nothing():
    last = np.array([4000.0, 4000.0, 4000.0, 1000.0, np.nan, np.nan])
    assert early_m(last, EVERYONE)[3] == 3000.0
    assert np.isnan(early_m(last, np.array([True, False, True, True, True, True]))).all()


@pytest.mark.parametrize(("fellows", "limit_m"), [
    ([4000.0] * 4, 100.0),  # who stops within 100 m has arrived
    ([3970.0, 3976.0, 4024.0, 4030.0], 120.0),  # half lie 24 and half 30 m from 4000: 68.27 % of four are four: 4 · 30
    ([3950.0, 3990.0, 4000.0, 4010.0, 4060.0], 200.0),  # distances 0, 10, 10, 50, 60: the fourth, 4 · 50
])  # fmt: skip
def test_a_recording_stopped_early_beyond_four_scatters_of_its_fellows(fellows, limit_m):
    for before_m, stopped in ((limit_m, False), (limit_m + 0.1, True)):
        found = early_m(np.array([4000.0 - before_m, *fellows]), np.ones(len(fellows) + 1, dtype=bool))
        assert np.isfinite(found[0]) == stopped
        assert not stopped or found[0] == pytest.approx(before_m)
        assert np.isnan(found[1:]).all()


def test_a_copy_that_stopped_is_told_of_too():
    assert early_m(np.array([4000.0, 4000.0, 4000.0, 1000.0]), np.array([True, True, True, False]))[3] == 3000.0
