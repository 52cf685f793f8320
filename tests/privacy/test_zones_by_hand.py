"""What zones are made of and tried with, each worked out by hand on lines and circles in metres."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.exceptions import CampaignError
from gpsq.plane import Plane
from gpsq.privacy import secret, zones
from gpsq.privacy.zones import Hidden, Zone

if TYPE_CHECKING:
    from pathlib import Path

PLANE = Plane(10.0, 50.0)


def deg(*places_m: tuple[float, float]) -> np.ndarray:
    return np.column_stack(PLANE.to_degrees(np.array(places_m, float)))


def zone(x_m: float, y_m: float, radius_m: float) -> Zone:
    ((lon, lat),) = deg((x_m, y_m))
    return Zone(float(lat), float(lon), radius_m)


def test_what_lies_in_any_circle_or_within_the_margin_is_inside() -> None:
    places = deg((0, 0), (499.5, 0), (500.5, 0), (529.5, 0), (530.5, 0), (2000, 0))
    two = [zone(0, 0, 500), zone(2000, 0, 10)]
    assert zones.inside(two, places).tolist() == [True, True, False, False, False, True]
    assert zones.inside(two, places, 30.0).tolist() == [True, True, True, True, False, True]
    assert zones.inside([], places).tolist() == [False] * 6


def test_the_bounds_are_those_of_the_papers() -> None:
    """docs/publish.md: guesses miss by 200 m, a zone is of 450 m to some 1.5 km, its centre 250 m off and more."""
    assert (zones.MISS_M, zones.RADIUS_M, zones.SHIFT_M[0]) == (200.0, (450.0, 1450.0), 250.0)


@pytest.mark.parametrize(
    ("out", "run"), [("", (0, -1)), ("..", (0, -1)), ("x", (0, 0)), ("xx.xx", (0, 1)), ("x.xxx", (2, 4)), (".xx.", (1, 2))]
)  # fmt: skip
def test_the_longest_run_is_the_first_of_the_longest(out: str, run: tuple[int, int]) -> None:
    assert zones.longest(np.array([sign == "x" for sign in out], dtype=bool)) == run


@pytest.mark.parametrize(
    ("off_m", "radius_m", "is_covered"), [(424, 0, True), (426, 0, False), (399, 100, True), (401, 100, False)]
)
def test_a_zone_covers_what_lies_deep_enough_in_it(off_m: float, radius_m: float, is_covered: bool) -> None:
    """An end 75 m deep, half of what a new zone gives it; a private place whole. One of two places outside is not covered."""
    assert zones.covers(zone(0, 0, 500), Hidden(deg((0, off_m)), (), radius_m)) is is_covered
    assert zones.covers(zone(0, 0, 500), Hidden(deg((0, 0), (0, off_m)), (), radius_m)) is is_covered


def test_the_middle_of_places_is_that_of_their_box() -> None:
    middle, reach_m = zones._middle(np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 8.0], [5.0, 1.0]]))
    assert middle.tolist() == [3.0, 4.0]
    assert reach_m == 5.0


def test_a_zone_about_an_end_holds_it_deep_and_grows() -> None:
    """At first the radius is 450 to 650 m, at last 950 to 1,650; the end is 150 m deep and 250 m off the centre."""
    rng, end = np.random.default_rng(1), np.zeros((1, 2))
    for progress, low_m, high_m in ((0.0, 450.0, 650.0), (1.0, 950.0, 1650.0), (0.5, 575.0, 900.0)):
        drawn = [zones._about_end(end, 0.0, progress, rng) for _ in range(400)]
        radius = np.array([r for _, r in drawn])
        off = np.array([np.hypot(*centre) for centre, _ in drawn])
        assert low_m <= radius.min() < low_m + 0.05 * (high_m - low_m)
        assert high_m - 0.05 * (high_m - low_m) < radius.max() <= high_m
        assert (off >= 250.0).all()
        assert (off <= radius - 150.0 + 1e-9).all()
        angle = np.array([np.arctan2(*centre) for centre, _ in drawn])
        assert np.histogram(angle, 4, (-np.pi, np.pi))[0].min() > 60
    spread = np.array([[-100.0, 0.0], [100.0, 0.0]])
    for _ in range(100):
        centre, radius_m = zones._about_end(spread, 0.0, 0.0, rng)
        assert radius_m >= 250.0 + 150.0 + 100.0 + 50.0
        assert np.hypot(*(spread - centre).T).max() <= radius_m - 150.0 + 1e-6


def test_a_zone_about_a_private_place_reaches_fifty_metres_beyond_it_at_least() -> None:
    rng, place = np.random.default_rng(2), np.array([[1000.0, 0.0]])
    drawn = [zones._about_private_place(place, 120.0, 0.0, rng) for _ in range(400)]
    off = np.array([np.hypot(*(centre - place[0])) for centre, _ in drawn])
    beyond = np.array([radius for _, radius in drawn]) - off - 120.0
    assert 250.0 <= off.min() < 260.0 < 410.0 < off.max() <= 420.0
    assert 50.0 <= beyond.min() < 55.0 < 245.0 < beyond.max() <= 250.0


def test_a_line_is_shown_beyond_all_circles_and_thirty_metres() -> None:
    line = np.column_stack([np.arange(0.0, 1001.0, 10.0), np.zeros(101)])
    out = zones._out(np.array([[0.0, 0.0, 200.0], [600.0, 0.0, 50.0]]), line)
    assert line[~out, 0].tolist() == [*np.arange(0.0, 231.0, 10.0), *np.arange(520.0, 681.0, 10.0)]


def test_the_middles_of_a_gap_are_along_the_line_and_across() -> None:
    """A corner: the stretch of six places between the shown ones has its middle in the corner, the chord beside it."""
    line = np.array([[0, 0], [10, 0], [20, 0], [30, 0], [30, 10], [30, 20], [30, 30]], float)
    out = np.array([True, True, False, False, False, True, True])
    found = zones._middles_of_gaps(line, out)
    assert [place.tolist() for place in found] == [[30.0, 0.0], [20.0, 10.0]]


def test_a_line_is_taken_up_after_its_first_metres() -> None:
    line = np.array([[0, 0], [9, 0], [10, 0], [25, 0], [40, 0]], float)
    assert [zones._from(line, later)[0].tolist() for later in (0.0, 10.0, 30.0)] == [[0, 0], [10, 0], [40, 0]]


def test_ways_lead_back_from_the_later_place() -> None:
    ways = zones._ways(np.array([0.0, 0.0]), np.array([[3.0, 4.0], [0.0, 0.0]]))
    assert ways.tolist() == [[-0.6, -0.8], [0.0, 0.0]]


def test_the_nearest_of_segments_is_by_its_foot_or_its_end() -> None:
    starts, stops = np.array([[0.0, 0.0], [0.0, 50.0]]), np.array([[10.0, 0.0], [10.0, 50.0]])
    for place, far_m in (((5.0, 7.0), 7.0), ((13.0, 4.0), 5.0), ((-3.0, -4.0), 5.0), ((5.0, 44.0), 6.0)):
        assert zones._from_segments_m(starts, stops, np.array([place])) == pytest.approx(far_m)
    assert zones._from_segments_m(starts, stops, np.array([[100.0, 0.0], [5.0, 1.0]])) == pytest.approx(1.0)


def test_a_straight_line_is_carried_on_straight_for_two_and_a_half_kilometres() -> None:
    line = np.column_stack([np.zeros(101), np.arange(0.0, 1001.0, 10.0)])
    starts, stops = zones._tails(line)
    assert stops[: len(zones.TAILS_M)] == pytest.approx(np.tile([0.0, -2500.0], (len(zones.TAILS_M), 1)))
    bent = stops[len(zones.TAILS_M) :].reshape(len(zones.BENDS_M), 30, 2)
    assert bent[:, :, 0] == pytest.approx(0.0, abs=1e-6)
    assert bent[:, :, 1] == pytest.approx(np.tile(-50.0 * np.arange(1, 31), (len(zones.BENDS_M), 1)))
    assert starts[0].tolist() == [0.0, 0.0]
    assert starts[len(zones.TAILS_M) :].reshape(5, 30, 2)[:, 1:] == pytest.approx(bent[:, :-1])


@pytest.mark.parametrize("side", [1, -1])
def test_an_arc_is_carried_on_along_its_circle(side: int) -> None:
    """A road on a circle of 500 m: its bent continuations stay on it within what 50 m steps leave, to both sides."""
    angle = np.arange(0.0, 2.0, 0.005)
    line = np.column_stack([500.0 * np.cos(angle), side * 500.0 * np.sin(angle)])
    stops = zones._tails(line)[1][len(zones.TAILS_M) :].reshape(5, 30, 2)
    assert np.hypot(*stops[:, :20].reshape(-1, 2).T) == pytest.approx(500.0, abs=35.0)
    assert (side * stops[:, 0, 1] < 0).all()


def test_the_centre_of_a_circle_is_guessed_where_a_line_breaks_off_at_its_rim() -> None:
    circles = np.array([[0.0, 0.0, 500.0], [5000.0, 0.0, 500.0], [0.0, 9000.0, 500.0]])

    def centres(*edges: tuple[float, float]) -> list[list[float]]:
        return [c.tolist() for c in zones._centres(circles, [np.array(edge, float) for edge in edges])]

    assert centres((0, 535)) == [[0.0, 0.0], [0.0, 9000.0]]
    assert centres((0, 600)) == [[0.0, 9000.0]]
    assert centres((5000, -569)) == [[5000.0, 0.0], [0.0, 9000.0]]
    assert centres((0, 495), (5000, -569)) == [[0.0, 0.0], [5000.0, 0.0], [0.0, 9000.0]]
    assert centres((0, 489), (5000, -571)) == [[0.0, 9000.0]]
    assert zones._centres(np.empty((0, 3)), []) == []


def test_the_first_zone_that_makes_all_guesses_miss_is_taken() -> None:
    """A road that winds like this cannot be carried on; one that is straight can, and the best of all tries is said."""
    along = np.arange(0.0, 6000.0, 10.0)
    winding = np.column_stack([along, 400.0 * np.sin(along / 300.0)])
    for line, misses in ((winding, True), (np.column_stack([along, 0 * along]), False)):
        hidden = Hidden(deg((0, 0)), (deg(*line),))
        found, miss_m = zones.drawn(hidden, np.random.default_rng(3))
        assert (miss_m >= 200.0) is misses
        assert miss_m == pytest.approx(zones.missed_by_m([found], hidden), abs=1.0)
        assert zones.inside([found], deg((0, 0)), -150.0 + 1.0).all()
        assert (found.lat_deg, found.lon_deg) == (round(found.lat_deg, 6), round(found.lon_deg, 6))
        assert found.radius_m == round(found.radius_m, 1)


@pytest.mark.parametrize(
    ("key", "low", "high", "beyond"), [("lat", -90, 90, 0.1), ("lon", -180, 180, 0.1), ("radius_m", 1, 1_000_000, 0.5)]
)
def test_a_kept_zone_is_a_circle_on_the_earth(tmp_path: Path, key: str, low: float, high: float, beyond: float) -> None:
    """WGS 84's ranges, and a radius of a metre to a thousand kilometres; the bounds themselves are taken."""
    for value, is_taken in ((low, True), (high, True), (low - beyond, False), (high + beyond, False)):
        said = {"lat": 1, "lon": 2, "radius_m": 500} | {key: value}
        (tmp_path / secret.NAME).write_text("[[zone]]\n" + "".join(f"{k} = {v}\n" for k, v in said.items()))
        if is_taken:
            assert secret.load(tmp_path) == (Zone(float(said["lat"]), float(said["lon"]), float(said["radius_m"])),)
        else:
            with pytest.raises(CampaignError, match=re.escape(f"{key} = {value}")):
                secret.load(tmp_path)


@pytest.mark.parametrize(
    "text", ["zone = 3\n", "[[zones]]\nlat = 1\n", "[[zone]]\nlat = 1\nlon = 2\nradius_m = 500\n[other]\n"]
)
def test_a_file_that_holds_anything_else_is_refused(tmp_path: Path, text: str) -> None:
    """Whoever wrote it meant something that would not be followed."""
    (tmp_path / secret.NAME).write_text(text)
    with pytest.raises(CampaignError, match="found other than zones; expected"):
        secret.load(tmp_path)
