"""Where the charts of errors place what they say: on the sheet, nothing over another, and figures from left to right."""

from __future__ import annotations

from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample

from gpsq.output.charts import error
from gpsq.output.drawing.looks import look
from gpsq.output.drawing.plot import Plot
from gpsq.output.drawing.sheet import LEAF, Box, Line, Sheet

SIZES = ((10.0, 5.625), (4.5, 4.5))


def plain(text):
    return text.replace("\xa0", " ")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("campaign", [by_hand, sample])
@pytest.mark.parametrize("chart", [error.along, error.distribution])
def test_all_text_stands_on_the_sheet_and_none_over_another(chart, campaign, size):
    sheet = Sheet(*size)
    chart(campaign()).draw(sheet)
    for text in sheet.texts:
        box = text.box
        assert (box.left >= 0.05, box.bottom >= 0.0, box.right <= size[0] - 0.1, box.top <= size[1] - 0.05) == (
            True,
        ) * 4, text
    for one, other in combinations((text.box for text in sheet.texts), 2):
        aside = one.right <= other.left + 0.01 or other.right <= one.left + 0.01
        assert aside or one.top <= other.bottom + 0.045 or other.top <= one.bottom + 0.045


@pytest.mark.parametrize("size", SIZES)
def test_axes_of_the_shares_begin_at_nought(size):
    sheet = Sheet(*size)
    error.distribution(by_hand()).draw(sheet)
    said = [plain(text.text) for text in sheet.texts]
    assert [s for s in said if s.endswith(" %") and len(s) < 6] == ["0 %", "25 %", "50 %", "75 %", "95 %"]
    metres = [text for text in sheet.texts if text.text.isdigit()]
    assert metres[0].text == "0"
    assert np.diff([float(text.text) for text in metres]).std() == 0.0
    assert [text.x_in for text in metres] == sorted(text.x_in for text in metres)
    nought = next(text for text in sheet.texts if plain(text.text) == "0 %")
    assert nought.box.bottom > metres[0].box.bottom - 0.01
    assert nought.box.right < metres[0].x_in + 0.05


@pytest.mark.parametrize("size", SIZES)
def test_routes_stand_below_one_another_each_with_its_name(size, monkeypatch):
    whole, right = by_hand(), error._offsets
    monkeypatch.setattr(error, "_offsets", lambda analysis, _: right(analysis, whole.routes[0]))  # errors on both
    sheet = Sheet(*size)
    error.along(whole).draw(sheet)
    names = [text for text in sheet.texts if text.text.startswith("Route ")]
    assert len(names) == min(2, error.MOST_ROUTES[sheet.wide])
    heights = [text.y_in for text in names]
    assert heights == sorted(heights, reverse=True)
    assert all(text.x_in == 0.2 for text in names)
    (along,) = [text for text in sheet.texts if text.text == "kilometres along the road"]
    assert along.y_in < min(heights), "said once, below the last"


@pytest.mark.parametrize("size", SIZES)
def test_the_route_of_most_recordings_stands_first(size, monkeypatch):
    whole, right = by_hand(), error._offsets
    both = right(whole, whole.routes[0])
    several = {name: own * 2 for name, own in both.items()}
    for most, offsets in enumerate(((several, both), (both, several))):
        names = dict(zip((r.route.name for r in whole.routes), offsets, strict=True))
        monkeypatch.setattr(error, "_offsets", lambda _, found, names=names: names[found.route.name])
        sheet = Sheet(*size)
        error.along(whole).draw(sheet)
        first = max((text for text in sheet.texts if text.text.startswith("Route ")), key=lambda text: text.y_in)
        assert first.text == f"Route {whole.routes[most].route.name}"


def plot():
    """Return a plot of 8 by 3 in: ten metres, or kilometres, from the left to the right."""
    return Plot(Sheet(10.0, 5.0), Box(1.0, 1.0, 9.0, 4.0), (0.0, 10.0), (0.0, 100.0))


def test_where_each_curve_reaches_95_per_cent_is_marked_and_written_where_there_is_room():
    own = plot()
    within = {"z": 2.0, "a": 8.0, "m": 2.1}  # the third is too near the first
    looks = {name: look(k) for k, name in enumerate(within)}
    error._name_95(own, within, looks)
    assert [plain(text.text) for text in own.sheet.texts] == ["2.0 m", "8.0 m"]
    assert [text.x_in for text in own.sheet.texts] == pytest.approx([2.6, 7.4])
    assert {text.y_in for text in own.sheet.texts} == {1.0 + 3.0 * 0.95 + 0.1}
    marks = [item for item in own.sheet.items if isinstance(item, Line)]
    assert [(mark.fill, mark.colour) for mark in marks] == [(looks[n].colour, LEAF) for n in ("z", "m", "a")]
    apart = plot()
    error._name_95(apart, {"a": 2.0, "b": 2.8}, {"a": look(0), "b": look(1)})
    assert len(apart.sheet.texts) == 2


def spot(from_m, to_m, spread_m=12.0):
    return SimpleNamespace(from_m=from_m, to_m=to_m, spread_m=spread_m)


def test_places_of_most_scatter_are_named_above_their_middle_where_there_is_room():
    own = plot()
    error._name_spots(own, [spot(900, 1100), spot(4000, 6000), spot(4500, 5700), spot(9000, 9800)], 1.0)
    assert [plain(text.text) for text in own.sheet.texts] == ["12 m"] * 3
    assert [text.x_in for text in own.sheet.texts] == pytest.approx([1.8, 5.0, 8.52])
    assert {text.y_in for text in own.sheet.texts} == {4.05}
    right = plot()
    error._name_spots(right, [spot(900, 1100)], 1.8)  # its route's name reaches there
    assert right.sheet.texts == []
    edge = Plot(Sheet(9.1, 5.0), Box(1.0, 1.0, 9.0, 4.0), (0.0, 10.0), (0.0, 100.0))
    error._name_spots(edge, [spot(9900, 10_000)], 1.0)
    assert edge.sheet.texts == []
