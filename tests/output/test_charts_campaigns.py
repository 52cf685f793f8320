"""The figure of a comparison of campaigns."""

from __future__ import annotations

from gpsq.output.charts.campaigns import compare_chart
from gpsq.summaries.across.campaigns import Compared, Entry
from gpsq.summary_types import Interval

NAN = float("nan")


def entry(course, campaign, device, ttff, repeatability):
    return Entry(course, campaign, "A", device, 10, "10 hot", ttff, 0.5, repeatability, Interval(3.0))


def test_the_figure_names_devices_and_says_its_finding():
    found = compare_chart(
        Compared(
            (
                entry("course 1", "Week 1", "quick & <b>", Interval(4.0, 2.0, 9.0), Interval(5.0, 4.0, 6.0)),
                entry("course 1", "Week 2", "steady", Interval(40.0), Interval(2.0)),
                entry("course 2", "Week 1", "steady", Interval(0.0, 0.0, NAN), Interval(3.0)),
            ),
            (),
        )
    )
    assert found is not None
    assert "steady repeats best (2.0" in found.finding
    assert "quick & <b> fixes first (4" in found.finding
    assert "Course 1: " in found.finding
    assert "course 2" in found.wide_svg
    assert "(2)" in found.wide_svg
    assert "1 more in the table" in found.square_svg
    assert "<b>" not in found.wide_svg
    assert found.wide_png.startswith(b"\x89PNG")


def test_nothing_to_draw_gives_no_figure():
    assert compare_chart(Compared((entry("course 1", "Week 1", "a", Interval(NAN), Interval(2.0)),), ())) is None
