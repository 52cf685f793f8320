"""The figure of a comparison as a reader sees it: each ratio at its place, between its bounds, beside its name."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from seen import SIZES, all_can_be_seen, box, lines, marks, middle, middle_of
from test_charts_campaigns import FOUND, of_ratios

from gpsq.output.charts import campaigns
from gpsq.output.drawing.sheet import Sheet

SEVERAL = of_ratios(*((0.4 + k / 4, 0.3 + k / 4, 0.7 + k / 4) for k in range(12)), (1.0,))
FAR = of_ratios((0.05, 0.01, 0.3), (1.0, 0.9, 1.2), (7.0, 4.0, 30.0))
TITLE, MARGIN = "How far each errs against the one that was carried along", "3 campaigns · 6 devices"


def sheet_of(compared, shape):
    sheet = Sheet(*SIZES[shape])
    ratios, looks = campaigns.against_carried(compared), campaigns.compare_looks(compared)
    campaigns._draw(sheet, TITLE, campaigns.KEY.format(carried="ref"), ratios, looks, MARGIN)
    return sheet, dict(list(ratios.items())[: campaigns.MOST_ROWS[sheet.wide]]), looks


def place_of(sheet):
    """What turns a ratio into a place, by the ticks, which are as a logarithmic axis has them."""
    ticks = [t for t in sheet.texts if t.anchor == "middle" and not t.bold]
    values = [float(t.text) for t in ticks]
    assert len(ticks) >= 3
    assert 1.0 in values
    apart = max(values) / min(values)
    assert all(1.3 <= b / a <= (2.0 if apart <= 30.0 else 3.4) for a, b in pairwise(values)), "neither crowded nor bare"
    slope, shift = np.polyfit(np.log(values), [t.x_in for t in ticks], 1)
    assert [t.x_in for t in ticks] == pytest.approx(slope * np.log(values) + shift, abs=1e-6)
    return lambda ratio: slope * np.log(ratio) + shift


@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize("compared", [FOUND, SEVERAL, FAR])
def test_each_ratio_stands_at_its_place_between_its_bounds_beside_its_name(compared, shape):
    sheet, ratios, looks = sheet_of(compared, shape)
    all_can_be_seen(sheet)
    place = place_of(sheet)
    bars = lines(sheet, width_pt=2.0)
    assert len(bars) == sum(np.isfinite(ratio.low) for ratio in ratios.values())
    rows = []
    for name, ratio in ratios.items():
        (said,) = [t for t in sheet.texts if t.anchor == "end" and t.text == name]
        (mark,) = [
            m for m in marks(sheet, looks[name].mark, looks[name].colour) if abs(middle(m)[1] - middle_of(said)) < 0.08
        ]
        at = mark.xy_in.mean(axis=0)
        rows.append(at[1])
        assert at[0] == pytest.approx(place(ratio.value), abs=0.02)
        assert abs(middle_of(said) - at[1]) < 0.03
        assert 0.05 < place_of_floor(sheet) - said.box.right < 0.2
        (value,) = [t for t in sheet.texts if t.bold and t.anchor == "middle" and 0.0 < t.y_in - at[1] < 0.2]
        assert value.text == f"{ratio.value:.2f}"
        assert value.x_in == pytest.approx(place(ratio.value), abs=0.02)
        assert value.box.bottom > box(mark)[3] - 0.02, "above the mark, not over it"
        if np.isfinite(ratio.low):
            (bar,) = [
                b for b in bars if b.colour == looks[name].colour and b.xy_in[0, 1] == pytest.approx(at[1], abs=0.02)
            ]
            assert bar.xy_in[:, 0] == pytest.approx([place(ratio.low), place(ratio.high)], abs=0.02)
            assert bar.xy_in[0, 1] == bar.xy_in[1, 1]
    assert np.ptp(np.diff(rows)) < 0.02
    (floor,), (one,) = lines(sheet, width_pt=0.9), lines(sheet, width_pt=1.2)
    ends = (one.xy_in[1, 1] - rows[0], rows[-1] - box(floor)[1])
    assert ends == pytest.approx([-np.diff(rows).mean() / 2] * 2, abs=0.02), "the rows share the height out evenly"
    assert max(np.diff(rows), default=-1.0) < -0.15, "from the top down, a line of type apart at least"


def place_of_floor(sheet):
    """Where the plot begins: the left end of its axis."""
    (floor,) = lines(sheet, width_pt=0.9)
    return box(floor)[0]


@pytest.mark.parametrize("shape", SIZES)
def test_the_one_carried_along_is_a_line_from_the_axis_to_the_top(shape):
    sheet, ratios, _ = sheet_of(FOUND, shape)
    (one,) = lines(sheet, width_pt=1.2)
    (floor,) = lines(sheet, width_pt=0.9)
    assert one.xy_in[:, 0] == pytest.approx([place_of(sheet)(1.0)] * 2, abs=1e-6)
    assert one.xy_in[0, 1] == box(floor)[1]
    key = [t for t in sheet.texts if t.text.startswith("ref is 1")]
    assert 0.1 < key[0].y_in - one.xy_in[1, 1] < 0.6, "up to what is said of it"
    assert np.ptp(floor.xy_in[:, 0]) > 0.55 * sheet.width_in
    assert len(ratios) == 3


@pytest.mark.parametrize("shape", SIZES)
def test_heading_key_and_margin_begin_at_one_edge_and_only_heading_and_figures_are_bold(shape):
    sheet, ratios, _ = sheet_of(FOUND, shape)
    heading = [t for t in sheet.texts if t.size_pt > 12.0]
    assert " ".join(t.text for t in heading) == TITLE
    assert {t.text for t in sheet.texts if t.bold} == {t.text for t in heading} | {
        f"{r.value:.2f}" for r in ratios.values()
    }
    edge = [t for t in sheet.texts if t.anchor == "start" and t.text != "ratio of cross-track errors"]
    assert {t.x_in for t in edge} == {0.2}
    foot = sorted(edge, key=lambda t: t.y_in)[:2]
    assert [t.text.partition(",")[0] for t in foot] == ["Source: own recordings", MARGIN]
    (floor,) = lines(sheet, width_pt=0.9)
    assert 0.2 < box(floor)[1] - foot[1].y_in < 0.8, "between axis and margin stand only the axis' words"
    assert foot[1].y_in < 0.35
    assert min(t.y_in for t in heading) > max(t.y_in for t in edge if t not in heading)
    assert sheet.height_in - heading[0].box.top < 0.25


def test_the_axis_reaches_a_little_beyond_what_is_drawn_and_from_two_thirds_to_one_and_a_half_at_least():
    """Near to one nothing is made to look large: an axis of a hundredth would."""
    near, _, _ = sheet_of(of_ratios((1.01, 0.99, 1.02)), "wide")
    assert [t.text for t in near.texts if t.anchor == "middle" and not t.bold] == ["0.7", "1", "1.5"]
    far, ratios, _ = sheet_of(FAR, "wide")
    place, (floor,) = place_of(far), lines(far, width_pt=0.9)
    (low, high) = min(r.low for r in ratios.values()), max(r.high for r in ratios.values())
    assert box(floor)[0] < place(low) < box(floor)[0] + 0.1 * np.ptp(floor.xy_in[:, 0])
    assert box(floor)[2] > place(high) > box(floor)[2] - 0.1 * np.ptp(floor.xy_in[:, 0])


@pytest.mark.parametrize(("bounds", "bars"), [((0.0, 5.0), 1), ((0.5, np.inf), 0), ((0.0, np.inf), 0)])
def test_a_bound_that_a_logarithmic_axis_does_not_have_is_no_end_of_it(bounds, bars):
    """From nought a bar comes from the very edge; without an end there is none."""
    sheet, _, _ = sheet_of(of_ratios((2.0, *bounds), (1.0, 0.8, 1.2)), "wide")
    all_can_be_seen(sheet)
    (floor,) = lines(sheet, width_pt=0.9)
    drawn = [line.xy_in[0, 0] for line in lines(sheet, width_pt=2.0)]
    assert len(drawn) == 1 + bars
    assert sum(x == pytest.approx(box(floor)[0]) for x in drawn) == bars


@pytest.mark.parametrize(
    ("bounds", "first", "last"), [((0.1, 0.09, 0.2), "0.1", "1.5"), ((9.0, 5.0, 10.5), "0.7", "10")]
)
def test_the_outermost_ticks_are_near_the_ends_of_the_axis(bounds, first, last):
    sheet, _, _ = sheet_of(of_ratios(bounds), "wide")
    place_of(sheet)
    ticks = [t.text for t in sheet.texts if t.anchor == "middle" and not t.bold]
    assert (ticks[0], ticks[-1]) == (first, last)


def test_names_are_larger_on_the_wide_sheet():
    sizes = [{t.size_pt for t in sheet_of(FOUND, shape)[0].texts if t.anchor == "end"} for shape in ("wide", "square")]
    assert [len(own) for own in sizes] == [1, 1]
    assert min(sizes[0]) > max(sizes[1])


def test_no_pair_before_it_keeps_a_ratio_away_and_equal_ones_stand_by_name():
    found = of_ratios((1.5, 1.2, 1.9), (1.5, 1.3, 1.7), (0.5, 0.4, 0.6))
    other = replace(found.bridges[0], measure="ttff_s")
    bridges = (other, replace(other, first="x", second="y"), *found.bridges[::-1])
    assert list(campaigns.against_carried(replace(found, bridges=bridges))) == ["d02", "d00", "d01"]


@pytest.mark.parametrize(("count", "said"), [(1, "1 campaign · 3 devices"), (2, "2 campaigns · 3 devices")])
def test_the_margin_counts_campaigns_and_devices(count, said):
    found = of_ratios((1.5, 1.2, 1.9), (0.5, 0.4, 0.6))
    entries = tuple(replace(e, campaign=f"Week {k % count}") for k, e in enumerate(found.entries))
    assert said in campaigns.compare_chart(replace(found, entries=entries)).wide_svg
