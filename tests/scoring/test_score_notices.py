"""The score itself is tested: each wrong figure planted in a good analysis must be noticed by its own check."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
from campaign_checks import check_campaign
from campaign_matching import _in_order, route_of_direction
from score import campaign_of

from gpsq.pipeline.analysis import analyse
from gpsq.simulate import write

if TYPE_CHECKING:
    from gpsq.results import Analysis


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory):
    campaign, folder = campaign_of("demo", 0), tmp_path_factory.mktemp("demo")
    write(campaign, folder)
    analysis = analyse(folder)
    assert all(check.passed for check in check_campaign(campaign, analysis))
    return campaign, analysis


def _missed(demo, changed: Analysis) -> set[str]:
    return {c.name for c in check_campaign(demo[0], changed) if not c.passed}


def _each_result(analysis: Analysis, change) -> Analysis:
    return dataclasses.replace(analysis, results=tuple(change(r) for r in analysis.results))


def _each_first_fix(analysis: Analysis, change) -> Analysis:
    return _each_result(analysis, lambda r: dataclasses.replace(r, first_fix=change(r.first_fix)))


def test_a_lost_recording(demo) -> None:
    _, analysis = demo
    fewer = dataclasses.replace(analysis, traces=analysis.traces[:-1], results=analysis.results[:-1])
    routes = tuple(
        dataclasses.replace(r, route=dataclasses.replace(r.route, members=keep, xy_m=r.route.xy_m[: len(keep)]))
        for r in analysis.routes
        for keep in [tuple(m for m in r.route.members if m < len(fewer.traces))]
    )
    assert "every recording in the tables" in _missed(demo, dataclasses.replace(fewer, routes=routes))


def test_a_recording_on_the_wrong_route(demo) -> None:
    _, analysis = demo
    changed = _each_result(analysis, lambda r: dataclasses.replace(r, route="Z") if r.trace == 3 else r)
    assert _missed(demo, changed) == {"routes"}


def test_a_time_to_fix_two_seconds_off(demo) -> None:
    changed = _each_first_fix(demo[1], lambda f: dataclasses.replace(f, seconds=f.seconds + 2.0))
    assert _missed(demo, changed) == {"time to first fix"}


def test_a_time_to_fix_out_of_nothing(demo) -> None:
    def zero(f):
        return dataclasses.replace(f, seconds=0.0) if f.basis == "none" else f

    assert _missed(demo, _each_first_fix(demo[1], zero)) == {"time to first fix", "no false zero"}


def test_missed_distances_that_are_wrong_or_blank(demo) -> None:
    further = _each_first_fix(demo[1], lambda f: dataclasses.replace(f, missed_m=f.missed_m + 60.0))
    assert _missed(demo, further) == {"missed_m, median error", "missed_m, 95th percentile"}
    blank = _each_first_fix(demo[1], lambda f: dataclasses.replace(f, missed_m=float("nan")))
    assert "missed_m known" in _missed(demo, blank)


def _moved_lines(analysis: Analysis, move) -> Analysis:
    lines = [dataclasses.replace(r.centreline, **move(r.centreline)) for r in analysis.routes]
    routes = tuple(dataclasses.replace(r, centreline=c) for r, c in zip(analysis.routes, lines, strict=True))
    return dataclasses.replace(analysis, routes=routes)


def test_a_centreline_aside(demo) -> None:
    changed = _moved_lines(demo[1], lambda c: {"xy_m": c.xy_m + np.array([6.0, 6.0])})
    assert "centreline RMS / (σ/√n)" in _missed(demo, changed)


def test_a_centreline_with_one_bulge_and_one_with_too_many_turns(demo) -> None:
    def bulge(c):
        return {"xy_m": c.xy_m + 20.0 * np.exp(-(((c.along_m - 900.0) / 60.0) ** 2))[:, None]}

    def zigzag(c):
        return {"xy_m": c.xy_m + 1.5 * (np.arange(len(c.along_m)) % 2)[:, None]}

    assert "centreline, largest" in _missed(demo, _moved_lines(demo[1], bulge))
    assert "centreline length" in _missed(demo, _moved_lines(demo[1], zigzag))


def test_a_centreline_cut_short(demo) -> None:
    def cut(c):
        return {f.name: getattr(c, f.name)[:-60] for f in dataclasses.fields(c) if f.name != "left_out"}

    assert "nothing uncovered" in _missed(demo, _moved_lines(demo[1], cut))


def test_errors_too_large_and_errors_in_the_wrong_order(demo) -> None:
    def change(factor):
        def one(r):
            if r.crosstrack is None:
                return r
            rms_m = factor(r.crosstrack.rms_m)
            return dataclasses.replace(r, crosstrack=dataclasses.replace(r.crosstrack, rms_m=rms_m))

        return _each_result(demo[1], one)

    assert _missed(demo, change(lambda rms: 1.3 * rms)) == {"xte_rms_m / true RMS, median"}
    assert "xte_rms_m, rank correlation" in _missed(demo, change(lambda rms: 10.0 / rms))


def test_detours_not_found_and_found_where_there_are_none(demo) -> None:
    none = _each_result(demo[1], lambda r: dataclasses.replace(r, deviations=()))
    assert _missed(demo, none) == {"detours found"}
    planted = next(v for r in demo[1].results for v in r.deviations)

    def one_more(suggestion):
        again = dataclasses.replace(planted, from_m=2900.0, to_m=3100.0, suggestion=suggestion)
        return lambda r: dataclasses.replace(r, deviations=(*r.deviations, again))

    assert _missed(demo, _each_result(demo[1], one_more("cannot be told"))) == {"false deviations"}
    chosen = _missed(demo, _each_result(demo[1], one_more("route choice")))
    assert chosen == {"false deviations", "false route choices"}
    first = demo[1].results[0].trace

    def once(r):
        return one_more("route choice")(r) if r.trace == first else r

    assert _missed(demo, _each_result(demo[1], once)) == {"false route choices"}


def test_a_detour_called_an_error(demo) -> None:
    def blame(r):
        blamed = tuple(dataclasses.replace(v, suggestion="receiver error") for v in r.deviations)
        return dataclasses.replace(r, deviations=blamed)

    assert _missed(demo, _each_result(demo[1], blame)) == {"suggestions"}


def test_lines_are_matched_in_order() -> None:
    """Up a street and back down it: the way down must not be matched to the way up."""
    up = np.column_stack([np.zeros(50), np.arange(50.0)])
    road = np.concatenate([up, up[::-1] + np.array([4.0, 0.0])])
    line = road - np.array([3.0, 0.0])  # nearer to the way up everywhere
    match = _in_order(line, road)
    assert (np.diff(match) >= 0).all()
    assert np.abs(match - np.arange(len(road))).max() <= 5


def test_both_directions_have_a_route(demo) -> None:
    assert set(route_of_direction(*demo)) == {"out", "back"}
