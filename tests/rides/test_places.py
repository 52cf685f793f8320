"""Places on the earth, against the conversion of PROJ (EPSG:4979 to EPSG:4978)."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Transformer
from trace_maker import road, trace_on

from gpsq.rides.places import places_m


def test_places_are_those_of_proj_in_metres_from_the_earths_middle():
    trace = trace_on(road(300.0))
    geocentric = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    right = np.column_stack(geocentric.transform(trace.lon_deg, trace.lat_deg, np.zeros(trace.accepted)))
    np.testing.assert_allclose(places_m(trace), right, atol=1e-6)


def test_places_are_kept_and_nobody_can_change_what_others_will_get():
    trace, other = trace_on(road(300.0)), trace_on(road(200.0))
    assert places_m(trace) is places_m(trace)
    assert len(places_m(other)) == other.accepted != trace.accepted
    with pytest.raises(ValueError, match="read-only"):
        places_m(trace)[0] = 0.0
