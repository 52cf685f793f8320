"""Geodesics, planes, cross-track distances, lengths and projections against published values.

What gpsq computes itself or asks of PROJ through `gpsq.plane` goes through `gpsq.plane`; other ellipsoids and
projections check the PROJ library that it rests on.
"""

from __future__ import annotations

import csv
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from gpsq.geometry.curve_distances import directed_hausdorff
from gpsq.geometry.polyline import nearest_on_line
from gpsq.plane import (
    Plane,
    geodesic_inverse_m,
    geodesic_legs_m,
    great_circle_track_m,
    to_earth_centred,
)

NAUTICAL_MILE_M = 1852.0
ARC_MINUTE_SPHERE_M = NAUTICAL_MILE_M * 10_800 / math.pi  # on which 1 nautical mile is 1 minute of arc
LAX, JFK = (-118.4, 33.95), (-(73 + 47 / 60), 40 + 38 / 60)
POSTGIS_LINE = np.array([(-72.1260, 42.45), (-72.123, 42.1546)])
POSTGIS_POINT = (-72.1235, 42.3521)

# lon1, lat1, lon2, lat2, metres on WGS 84, tolerance in metres
GEODESICS = {
    "Karney 2013, J. Geodesy 87:43-55, Table 2": (0, 40, 137.84490004377, 41.79331020506, 10_000_000, 1e-5),
    "Karney 2013, Table 3: a 5 m line": (0, -30.12345, 5e-5, -30.12344, 4.944208, 1e-6),
    "Karney 2013, Tables 4-6: near antipodal": (0, -30, 179.8, 29.9, 19_989_832.827610, 1e-5),
    "GeographicLib geodtest.c, GeodSolve0": (-73.8, 40.6, 2.55, 49.01666667, 5_853_226, 0.5),
    "chrisveness/geodesy tests: Land's End to John o'Groats": (
        -5.71475,
        50.06632,
        -3.07009,
        58.64402,
        969_954.166,
        5e-4,
    ),
    "Karney, GeodTest, line 1": (0, 0.003311913742, 32.8467945812728, 0.0017623854726, 3_656_488.4472191, 1e-6),
    "Karney, GeodTest, line 2": (0, 20.423135394589, 179.7571169345704, -21.1793880177987, 19_917_969.3423672, 1e-6),
    "Karney, GeodTest, line 3": (0, 35.602540598169, 78.9957996299556, -19.4062001720317, 10_299_779.6328425, 1e-6),
}  # fmt: skip

# Vincenty 1975, Survey Review 23(176):88-93, Table II (Rainsford's lines); ICSM GDA Technical Manual
OTHER_ELLIPSOIDS = {
    "Rainsford a": ("bessel", 0, 55.75, 108.21666666666667, -33.43333333333333, 14_110_526.170, 1e-3),
    "Rainsford b": ("intl", 0, 37.331931575, 41.47652980277778, 26.128566516666666, 4_085_966.703, 1e-3),
    "Rainsford c": ("intl", 0, 35.26979128333333, 137.79119843055557, 67.37077121666665, 8_084_823.839, 1e-3),
    "Rainsford d": ("intl", 0, 1.0, 179.29667499166666, -0.9982863222222221, 19_960_000.000, 1e-3),
    "Rainsford e": ("intl", 0, 1.0, 179.7716229, 1.0208859777777777, 19_780_006.558, 1e-3),
    "Flinders Peak to Buninyong": (
        "GRS80",
        144.42486788888888,
        -37.95103341666667,
        143.92649552777777,
        -37.65282113888889,
        54_972.271,
        5e-4,
    ),
}

# IOGP 373-07-02 = EPSG Guidance Note 7-2; Snyder, USGS PP 1395; GeodePy = Geoscience Australia's own tests
PROJECTIONS = {
    "IOGP 373-07-02 (2019) p. 54, Transverse Mercator": (
        "+proj=tmerc +lat_0=49 +lon_0=-2 +k_0=0.9996012717 +x_0=400000 +y_0=-100000 +a=6377563.396 +rf=299.32496",
        (0.5, 50.5), (577_274.99, 69_740.50), 0.01),
    "Snyder p. 269, UTM": ("+proj=utm +zone=18 +ellps=clrk66", (-73.5, 40.5), (627_106.5, 4_484_124.4), 0.06),
    "Snyder pp. 196-197, azimuthal equidistant": (
        "+proj=aeqd +ellps=GRS80 +lat_0=0", (45, 45), (3_860_398.3783, 5_430_089.0490), 2e-4),
    "GeodePy, Flinders Peak in MGA zone 55": (
        "+proj=utm +zone=55 +south +ellps=GRS80",
        (144.42486788888888, -37.95103341666667), (273_741.2966, 5_796_489.7769), 1e-4),
}  # fmt: skip


def rows(shared, name):
    with (shared / "reference" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("case", GEODESICS.values(), ids=GEODESICS)
def test_geodesic(case):
    lon1, lat1, lon2, lat2, expected_m, tolerance_m = case
    assert geodesic_inverse_m([lon1], [lat1], [lon2], [lat2])[0] == pytest.approx(expected_m, rel=0, abs=tolerance_m)


@pytest.mark.open_data
def test_hundred_and_twenty_geodesics(shared):
    """Karney's GeodTest sample (100) and GeographicLib's geodtest.cpp (20), stated accuracy 15 nm."""
    lines = rows(shared, "geodtest_subset.csv")
    assert len(lines) == 120
    columns = [[float(r[name]) for r in lines] for name in ("lon1", "lat1", "lon2", "lat2", "s12_m")]
    assert np.abs(geodesic_inverse_m(*columns[:4]) - columns[4]).max() < 1e-6


@given(st.floats(-89.99, 89.99), st.floats(-180, 180), st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
def test_short_legs_are_geodesics_to_a_thousandth_of_a_millimetre(lat, lon, north, east):
    """Against Karney's geodesic in pyproj: under a kilometre legs are taken straight, c³ / 24R² shorter."""
    away = [[lon, lon + east], [lat, np.clip(lat + north, -90, 90)]]
    expected_m = Geod(ellps="WGS84").inv(away[0][0], away[1][0], away[0][1], away[1][1])[2]
    assert geodesic_legs_m(*away)[0] == pytest.approx(expected_m, rel=0, abs=1.1e-6)


@pytest.mark.parametrize("case", OTHER_ELLIPSOIDS.values(), ids=OTHER_ELLIPSOIDS)
def test_geodesic_on_other_ellipsoids(case):
    ellipsoid, *ends, expected_m, tolerance_m = case
    assert Geod(ellps=ellipsoid).inv(*ends)[2] == pytest.approx(expected_m, rel=0, abs=tolerance_m)


@pytest.mark.open_data
def test_named_lines_of_the_shared_table(shared):
    names = {"Bessel1841": "bessel", "Intl1924": "intl"}
    for r in rows(shared, "geodesic_named_lines.csv"):
        ends = [float(r[name]) for name in ("lon1", "lat1", "lon2", "lat2")]
        azimuth, back, metres = Geod(ellps=names.get(r["ellipsoid"], r["ellipsoid"])).inv(*ends)
        assert metres == pytest.approx(float(r["s12_m"]), rel=0, abs=float(r["tol_m"])), r["id"]
        if r["ellipsoid"] == "WGS84":
            ours = geodesic_inverse_m(*[[v] for v in ends])[0]
            assert ours == pytest.approx(float(r["s12_m"]), rel=0, abs=float(r["tol_m"])), r["id"]
        # azimuths of short lines are printed to 5 decimals; a to-azimuth is the back azimuth turned round
        assert math.remainder(azimuth - float(r["azi1_deg"]), 360) == pytest.approx(0, abs=1e-4), r["id"]
        assert math.remainder(back + 180 - float(r["azi2_deg"]), 360) == pytest.approx(0, abs=1e-4), r["id"]


def test_lax_to_jfk_cross_track():
    """Williams, Aviation Formulary V1.46: 7.4512 nm right of course, 99.588 nm along; exact arithmetic: 7.45227 nm."""
    along_m, offset_m = great_circle_track_m(LAX, JFK, [-116.5], [34.5], ARC_MINUTE_SPHERE_M)
    assert -offset_m[0] / NAUTICAL_MILE_M == pytest.approx(7.4512, abs=0.0015)
    assert -offset_m[0] / NAUTICAL_MILE_M == pytest.approx(7.452272, abs=1e-6)
    assert along_m[0] / NAUTICAL_MILE_M == pytest.approx(99.588, abs=0.001)
    whole_m, on_it_m = great_circle_track_m(LAX, JFK, [JFK[0]], [JFK[1]], ARC_MINUTE_SPHERE_M)
    assert whole_m[0] / ARC_MINUTE_SPHERE_M == pytest.approx(0.623585, abs=1e-6)
    assert on_it_m[0] == pytest.approx(0, abs=1e-6)


def test_cross_track_of_movable_type():
    """C. Veness, Movable Type Scripts and chrisveness/geodesy tests (there − to the left): -307.5 m at 62 331 m."""
    along_m, offset_m = great_circle_track_m((-1.7297, 53.3206), (0.1334, 53.1887), [-0.7972], [53.2611], 6_371_000)
    assert offset_m[0] == pytest.approx(307.5, abs=0.06)
    assert along_m[0] == pytest.approx(62_331, abs=0.6)
    _, offset_m = great_circle_track_m((0, 0), (2, 0), [1, 1, 1], [10, -10, 0], 6_371_000)
    assert offset_m == pytest.approx([1_111_949.266446, -1_111_949.266446, 0], abs=1e-5)  # closed form: R π / 18


def test_postgis_point_to_line_on_the_sphere():
    """PostGIS manual, ST_Distance, Geography Examples."""
    _, offset_m = great_circle_track_m(*map(tuple, POSTGIS_LINE), *[[v] for v in POSTGIS_POINT])
    assert abs(offset_m[0]) == pytest.approx(123.475736916397, abs=1e-6)


def test_postgis_point_to_line_on_the_ellipsoid():
    """PostGIS prints 123.802077 (foot found on a sphere); the geodesic minimum is 123.801604. Ours: both to 1 mm."""
    lon, lat = np.vstack([POSTGIS_LINE, POSTGIS_POINT]).T
    xy = Plane.centred_on(lon, lat).to_metres(lon, lat)
    assert directed_hausdorff(xy[2:], xy[:2])[0] == pytest.approx(123.801604084, abs=1e-3)
    assert directed_hausdorff(xy[2:], xy[:2])[0] == pytest.approx(123.802076746848, abs=1e-3)
    _, offset_m = nearest_on_line(xy[2:], xy[:2], np.array([0]), np.array([0]))
    assert offset_m[0] == pytest.approx(123.801604084, abs=1e-3)  # + : east of a line that runs south is its left


@pytest.mark.open_data
def test_cross_tracks_of_the_shared_table(shared):
    radius_m = {"sphere R=6371000": 6_371_000.0, "sphere R=6371008.7714150598": 6_371_008.7714150598}
    checked = 0
    for r in rows(shared, "crosstrack_cases.csv"):
        if not r["earth"].startswith("sphere") or not r["pt_lat"]:
            continue
        ends = [(float(r[f"{end}_lon"]), float(r[f"{end}_lat"])) for end in ("start", "end")]
        along_m, offset_m = great_circle_track_m(
            *ends, [float(r["pt_lon"])], [float(r["pt_lat"])], radius_m.get(r["earth"], ARC_MINUTE_SPHERE_M)
        )
        found = along_m[0] if r["quantity"] == "along_track" else -offset_m[0]
        if r["quantity"] == "point-line distance":
            found = abs(found)
        unit_m = NAUTICAL_MILE_M if r["unit"] == "nm" else 1.0
        assert found / unit_m == pytest.approx(float(r["expected"]), rel=0, abs=float(r["suggested_tol"])), r["id"]
        checked += 1
    assert checked == 6


def test_lengths():
    """PostGIS manual, ST_Length, Geography Examples."""
    lon, lat = [-72.1260, -72.1240, -72.123], [42.45, 42.45666, 42.1546]
    assert geodesic_legs_m(lon, lat).sum() == pytest.approx(34_310.5703627284, abs=1e-6)
    xy = Plane.centred_on(np.array(lon), np.array(lat)).to_metres(lon, lat)
    in_plane_m = np.hypot(*np.diff(xy, axis=0).T).sum()
    assert in_plane_m == pytest.approx(34_310.5703627284, rel=1e-5)


@pytest.mark.open_data
def test_lengths_of_the_shared_table(shared):
    sphere = Geod(a=6_371_008.7714150598, b=6_371_008.7714150598)
    geods = {"WGS84 geodesic": Geod(ellps="WGS84"), "GRS80 geodesic": Geod(ellps="GRS80")}
    for r in rows(shared, "length_cases.csv"):
        lat, lon = np.array([[float(v) for v in place.split()] for place in r["points_lat_lon"].split(";")]).T
        if r["earth"].startswith("EPSG"):
            x, y = Transformer.from_crs("EPSG:4326", "EPSG:26986", always_xy=True).transform(lon, lat)
            found = np.hypot(np.diff(x), np.diff(y)).sum()
        else:
            found = geods.get(r["earth"], sphere).line_length(lon, lat)
        assert found == pytest.approx(float(r["expected_m"]), rel=0, abs=float(r["tol_m"])), r["id"]


@settings(max_examples=150, deadline=None)
@given(
    st.floats(-180, 180),
    st.floats(-89, 89),
    st.lists(st.tuples(st.floats(-20_000, 20_000), st.floats(-20_000, 20_000)), min_size=2, max_size=2, unique=True),
)
def test_distances_in_the_plane_are_geodesic_to_a_hundred_thousandth(lon_deg, lat_deg, places):
    """Transverse Mercator with k = 1: the scale grows as x² / 2R² (Snyder, USGS PP 1395, chapter 8), 5e-6 at 20 km."""
    plane = Plane(lon_deg, lat_deg)
    lon, lat = plane.to_degrees(np.array(places))
    in_plane_m = math.dist(*places)
    assert geodesic_legs_m(lon, lat)[0] == pytest.approx(in_plane_m, rel=1e-5, abs=1e-6)
    assert plane.to_metres(lon, lat) == pytest.approx(np.array(places), abs=1e-6)


@pytest.mark.parametrize(("lon_deg", "lat_deg"), [(0, 0), (179.9, -45), (-120, 70), (15, 88.5)])
@pytest.mark.parametrize("reach_m", [5_000, 20_000, 45_000])
def test_plane_chosen_for_a_route_keeps_scale(lon_deg, lat_deg, reach_m):
    """The same for the plane that is chosen, up to routes of 90 km across, in all directions."""
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    wide = Plane(lon_deg, lat_deg, "aeqd")
    lon, lat = wide.to_degrees(reach_m * np.column_stack([np.cos(turn), np.sin(turn)]))
    plane = Plane.centred_on(lon, lat)
    lon, lat = np.append(lon, plane.lon_deg), np.append(lat, plane.lat_deg)
    xy = plane.to_metres(lon, lat)
    i, j = np.triu_indices(len(lon), 1)
    ratio = np.hypot(*(xy[i] - xy[j]).T) / geodesic_inverse_m(lon[i], lat[i], lon[j], lat[j])
    assert np.abs(ratio - 1).max() < 1e-5


def test_earth_centred_positions():
    """IOGP 373-07-02, geographic/geocentric example (from memory): 53°48'33.820"N 2°07'46.380"E, h 73 m on WGS 84."""
    lat, lon = 53 + 48 / 60 + 33.820 / 3600, 2 + 7 / 60 + 46.380 / 3600
    up = np.array([math.cos(math.radians(lat)) * math.cos(math.radians(lon)),
                   math.cos(math.radians(lat)) * math.sin(math.radians(lon)), math.sin(math.radians(lat))])  # fmt: skip
    assert to_earth_centred([lon], [lat])[0] + 73 * up == pytest.approx(
        [3_771_793.968, 140_253.342, 5_124_304.349], abs=1e-3
    )


@settings(max_examples=100, deadline=None)
@given(st.floats(-180, 180), st.floats(-90, 90))
def test_earth_centred_positions_agree_with_proj(lon_deg, lat_deg):
    expected = projected("+proj=cart +ellps=WGS84", lon_deg, lat_deg, 0.0)
    assert to_earth_centred([lon_deg], [lat_deg])[0] == pytest.approx(np.array(expected), abs=1e-6)


@pytest.mark.parametrize("case", PROJECTIONS.values(), ids=PROJECTIONS)
def test_projection(case):
    definition, (lon, lat), expected, tolerance_m = case
    assert projected(definition, lon, lat, 0.0)[:2] == pytest.approx(expected, rel=0, abs=tolerance_m)


@pytest.mark.open_data
def test_projections_of_the_shared_table(shared):
    topocentric = "+proj=cart +ellps=WGS84 +step +proj=topocentric +ellps=WGS84 +lat_0=55 +lon_0=5 +h_0=200"
    for r in rows(shared, "projection_cases.csv"):
        definition = r["proj"] if r["proj"].startswith("+") else topocentric
        found = projected(definition, float(r["lon_deg"]), float(r["lat_deg"]), float(r["h_m"] or 0))
        for value, name in zip(found, ("expected_E_m", "expected_N_m", "expected_U_m"), strict=True):
            if r[name]:
                assert value == pytest.approx(float(r[name]), rel=0, abs=float(r["tol_m"])), r["id"]


def projected(definition: str, lon: float, lat: float, height_m: float) -> tuple[float, ...]:
    steps = f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step {definition}"
    return Transformer.from_pipeline(steps).transform(lon, lat, height_m)
