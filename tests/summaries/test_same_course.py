"""Which centrelines are one course: how near, how much of them, which way, and anywhere on earth."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.plane import Plane
from gpsq.settings import Settings
from gpsq.summaries.across.same_course import courses

STEPS_M = 25.0 * np.arange(60)


def line(lon_deg=10.0, lat_deg=50.0, north_m=0.0, east_m=STEPS_M):
    """Return degrees of a line eastward from a place, so far north of it."""
    east = np.asarray(east_m, float)
    north = np.broadcast_to(north_m, east.shape)
    return np.column_stack(Plane(lon_deg, lat_deg, "aeqd").to_degrees(np.column_stack([east, north])))


def one(first, second):
    return courses({"first": first, "second": second}, Settings())["second"] == "course 1"


@pytest.mark.parametrize(
    ("lon_deg", "lat_deg"),
    [(10.0, 50.0), (151.2, -33.9), (-70.0, 12.0), (179.99, 68.0), (-179.999, -45.0), (0.0, 0.0), (100.0, 88.0)],
)
def test_lines_that_run_within_sixty_metres_are_one_course_anywhere(lon_deg, lat_deg):
    """68 and 45 degrees: these lines cross the antimeridian."""
    first = line(lon_deg, lat_deg)
    assert one(first, line(lon_deg, lat_deg, 55.0))
    assert not one(first, line(lon_deg, lat_deg, 65.0))
    assert not one(first, line(lon_deg, lat_deg)[::-1])


@pytest.mark.parametrize(("lon_deg", "lat_deg"), [(13.0, 50.0), (10.0, 53.0), (-170.0, 50.0), (10.0, -50.0)])
def test_lines_in_other_parts_of_the_world_are_other_courses(lon_deg, lat_deg):
    assert not one(line(), line(lon_deg, lat_deg))


def test_a_long_tour_that_begins_far_down_another_is_one_course():
    """109 km down a road of 200 km; one that begins 111 km off is not looked at."""
    long = line(east_m=np.arange(0.0, 200_000.0, 500.0))
    assert one(long, line(east_m=np.arange(109_000.0, 200_000.0, 500.0)))
    assert not one(long, line(east_m=np.arange(111_000.0, 200_000.0, 500.0)))


def test_six_tenths_of_the_shorter_line_must_run_along_the_other():
    """The setting says "this share", so exactly 60 % will do."""
    for share, is_one in ((30, True), (29, False)):
        north_m = np.where(np.arange(50) < share, 0.0, 500.0)
        assert one(line(), line(north_m=north_m, east_m=STEPS_M[:50])) is is_one


def test_two_places_in_common_are_no_course_and_three_are():
    long = line()
    assert one(long, line(east_m=[100.0, 200.0, 300.0]))
    assert not one(long, line(east_m=[100.0, 200.0]))


def test_there_and_back_is_neither_way():
    """As much of it follows the line as runs against it: the correlation of order is nought."""
    assert not one(line(), line(east_m=[100.0, 200.0, 100.0]))
    assert one(line(), line(east_m=[100.0, 300.0, 200.0]))
