"""The ground that everything stands on: arrays, digests, and what the types of recordings refuse."""

from __future__ import annotations

import pickle
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
import pytest
from by_hand import FOUND, by_hand
from trace_maker import trace_on

from gpsq import digests
from gpsq.arrays import freeze, is_silence, mean_of_known, norms, same_length, stretches
from gpsq.exceptions import GeometryError
from gpsq.model import Centreline, FirstFix, Flag, SetAside
from gpsq.results import Analysis
from gpsq.summary_types import Interval

NAN = float("nan")
#: Fields of a made-up recording that hold what is not known.
UNKNOWN = {"ele_m", "hdop", "sat", "speed_mps", "file_time", "started", "first_record", "last_record", "first_3d_fix",
           "start_lat_deg", "start_lon_deg"}  # fmt: skip
NAT = np.datetime64("NaT", "ms")
MONDAY = np.datetime64("2026-05-04T07:00", "ms")


# --- arrays -----------------------------------------------------------------------------------------------------------
def silences(*seconds, gap_s=60.0):
    return is_silence(MONDAY + (np.array(seconds) * 1000).astype("timedelta64[ms]"), gap_s).tolist()


def test_a_silence_is_longer_than_the_gap_and_than_three_usual_intervals():
    assert silences(0, 60, 120.1) == [False, True]  # too few to tell what is usual
    assert silences(0, 30, 60, 90, 120, 210, gap_s=60.0) == [False] * 5  # of 30 s each, 90 s are three
    assert silences(0, 30, 60, 90, 120, 210.1, gap_s=60.0) == [False] * 4 + [True]
    assert silences(0, 30, 60, 90, 180) == [False] * 3 + [True]  # four intervals say nothing of usual
    assert silences(0, 0, 0, 0, 30, 60, 90, 180) == [False] * 6 + [True]  # nor do those of no time
    assert silences(0, 1, 2, 3, 4, 64) == [False] * 5
    assert silences(0, 1, 2, 3, 4, 64.1) == [False] * 4 + [True]
    unknown = is_silence(np.array([MONDAY, NAT, MONDAY + np.timedelta64(900, "s"), MONDAY], "datetime64[ms]"), 60.0)
    assert unknown.tolist() == [False, False, False]


def test_means_stretches_and_lengths():
    rows = np.array([[[1.0, NAN, 4.0], [3.0, NAN, NAN]], [[5.0, 7.0, NAN], [NAN, 9.0, 1.0]]])
    np.testing.assert_equal(mean_of_known(rows), [[2.0, NAN, 4.0], [5.0, 8.0, 1.0]])
    np.testing.assert_equal(mean_of_known(np.array([[np.inf, 0.0], [1.0, 0.0]])), [1.0, 0.0])
    assert norms(np.array([[2.0, 3.0, 6.0], [0.0, -5.0, 12.0]])).tolist() == [7.0, 13.0]
    marked = np.array([True, True, False, True, False, False, True])
    assert stretches(marked) == [(0, 2), (3, 4), (6, 7)]
    assert stretches(~marked) == [(2, 3), (4, 6)]
    assert stretches(np.zeros(3, bool)) == stretches(np.zeros(0, bool)) == []


@dataclass(frozen=True)
class Held:
    first: np.ndarray
    second: np.ndarray
    name: str = "x"


def test_arrays_of_a_type_are_read_only_and_of_one_length():
    held = Held(np.zeros(2), np.zeros(3))
    freeze(held)
    for values in (held.first, held.second):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 1.0
    same_length(held, ("first",))
    with pytest.raises(GeometryError) as refused:
        same_length(held, ("first", "second"))
    assert str(refused.value) == "Held: arrays must have one length, but have {'first': 2, 'second': 3}"


# --- digests ----------------------------------------------------------------------------------------------------------
def test_a_file_is_known_by_its_sha_256(tmp_path):
    """FIPS 180-4, examples with one block: "abc"; and the digest of nothing."""
    file = tmp_path / "x"
    for content, sha in (
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    ):
        file.write_bytes(content)
        assert digests.file_sha256(file) == sha


@dataclass(frozen=True)
class Another:
    first: int = 1


@dataclass(frozen=True)
class Renamed:
    second: int = 1


DIFFERENT = [
    None, True, 1, 1.0, "1", b"1", np.int64(1), np.float64(1), np.float32(1), "", b"", (), [], {}, set(), (1,), [1], (1, 2), (2, 1),
    ("ab", "c"), ("a", "bc"), ("abc",), ((1,), 2), (1, (2,)), {"a": 1}, {"a": 2}, {"b": 1}, {"a": "b"}, {1, 2}, frozenset({1, 2}),
    np.zeros(2), np.zeros(3), np.zeros((2, 1)), np.zeros((1, 2)), np.zeros(2, np.float32), np.zeros(2, np.int64),
    np.array([0.0, 1.0]), np.array([1.0, 0.0]), Another(), Another(2), Renamed(), Path("a"), "a", float("nan"), float("inf"),
    np.datetime64("2026-05-04"), np.datetime64("2026-05-04T00:00"),
]  # fmt: skip


def test_what_differs_has_another_digest():
    found = [digests.digest(thing) for thing in DIFFERENT]
    same = [(DIFFERENT[i], DIFFERENT[k]) for k in range(len(found)) for i in range(k) if found[i] == found[k]]
    assert same == []
    assert digests.digest(1, 2) != digests.digest((1, 2))
    assert digests.digest() != digests.digest(None)


def test_what_is_equal_has_one_digest():
    assert digests.digest({"a": 1, "b": 2}) == digests.digest({"b": 2, "a": 1})
    assert digests.digest({3, 1, 2}) == digests.digest({2, 3, 1})
    everything = np.arange(6.0).reshape(2, 3)
    assert digests.digest(everything[:, ::2]) == digests.digest(everything[:, ::2].copy())
    assert digests.digest("\udc80") == digests.digest("\udc80")
    assert digests.digest(by_hand()) == digests.digest(by_hand())
    assert digests.digest(by_hand()) != digests.digest(by_hand(title="Quay"))


@pytest.mark.parametrize("odd", [object(), len, np.array([object()]), (1, [object()])])
def test_what_cannot_be_seen_through_is_refused(odd):
    with pytest.raises(TypeError, match=r"no digest of a (object|builtin_function_or_method|ndarray)"):
        digests.digest(odd)


def test_the_code_has_a_digest_of_its_own():
    assert digests.code() == digests.code()
    assert len(digests.code()) == 64


# --- types ------------------------------------------------------------------------------------------------------------
PLACES = np.zeros((3, 2))


def test_points_of_a_recording_add_up():
    aside = (SetAside("no_fix", 4, 0), SetAside("null_island", 1, 7))
    assert trace_on(PLACES, points=8, set_aside=aside).accepted == 3
    for points in (7, 9):
        with pytest.raises(GeometryError) as refused:
            trace_on(PLACES, points=points, set_aside=aside)
        assert str(refused.value) == f"a/day0.gpx: accepted and set-aside points do not add up to {points}"
    with pytest.raises(ValueError, match=r"start_basis must be one of .*, but is 'bell'"):
        trace_on(PLACES, start_basis="bell")
    with pytest.raises(GeometryError, match="arrays must have one length"):
        trace_on(PLACES, hdop=np.zeros(2))


@pytest.mark.parametrize(
    "column", [[NAN] * 4, [1.0, NAN, NAN, NAN], [NAN, NAN, NAN, 2.0], [3.0] * 4, np.broadcast_to(5.0, 4)]
)
@pytest.mark.parametrize("name", ["ele_m", "hdop", "sat", "speed_mps"])
def test_a_recording_that_was_sent_or_kept_is_the_same(name, column):
    """Columns of which nothing is known take no room, here or on the way; what is known of a single fix is kept."""
    values = np.array(column)
    trace = replace(trace_on(np.zeros((4, 2))), **{name: np.asarray(column)})
    sent = pickle.loads(pickle.dumps(trace))  # noqa: S301 - written here
    for own in (trace, sent):
        for f in fields(trace):
            wanted = values if f.name == name else getattr(trace, f.name)
            assert np.array_equal(getattr(own, f.name), wanted, equal_nan=f.name == name or f.name in UNKNOWN), f.name
    assert digests.digest(sent) == digests.digest(trace)
    assert any(getattr(sent, name).strides) == np.isfinite(values).any()
    with pytest.raises(ValueError, match="read-only"):
        getattr(trace, name)[0] = 1.0


def test_how_recordings_are_called_and_known():
    trace = trace_on(PLACES)
    assert (trace.label, trace.key) == ("a/day0.gpx", (trace.sha256, 1))
    second = replace(trace, track=2)
    assert (second.label, second.key) == ("a/day0.gpx (track 2)", (trace.sha256, 2))
    assert trace.timed
    assert not replace(trace, time=np.array([MONDAY, NAT, MONDAY])).timed
    assert not trace_on(np.zeros((0, 2))).timed


@pytest.mark.parametrize(("flag", "suggestion", "counts"), [
    ("", "route choice", "route choice"), ("", "receiver error", "receiver error"), ("", "cannot be told", "cannot be told"),
    ("intentional", "receiver error", "route choice"), ("error", "route choice", "receiver error"),
])  # fmt: skip
def test_a_decision_goes_before_a_suggestion(flag, suggestion, counts):
    assert replace(FOUND[0], flag=flag, suggestion=suggestion).counts_as == counts


def test_a_flag_is_one_of_two():
    with pytest.raises(ValueError, match=r"flag must be one of .*, but is 'perhaps'"):
        Flag("a" * 64, 1, NAT, NAT, 0, 1, "perhaps")


def test_a_line_is_as_long_as_its_stations_reach():
    number, unknown = np.ones(3, np.int64), np.ones(3)
    line = Centreline(PLACES + 0.0, np.array([100.0, 150.0, 420.0]), number, number, unknown, unknown)
    assert line.length_m == 320.0
    with pytest.raises(ValueError, match="read-only"):
        line.along_m[0] = 0.0


def test_a_route_is_found_by_its_name_and_results_belong_to_recordings():
    found = by_hand()
    assert found.route_named("home") is found.routes[1]
    assert found.route_named("Z") is None
    with pytest.raises(GeometryError, match="Analysis: arrays must have one length"):
        by_hand(results=found.results[:3])


def test_what_nobody_said_is_not_so():
    """A recording of which nothing odd is known: dated, whole, its fixes not declared; a first fix without any bound."""
    trace = trace_on(PLACES)
    assert (trace.date_known, trace.truncated, trace.fix_declared, trace.clock_jumps_at_fix) == (
        True,
        False,
        False,
        False,
    )
    assert (trace.spikes, trace.notes, trace.remarks, trace.start_basis, trace.records_before_fix) == (
        (),
        (),
        (),
        "none",
        0,
    )
    fix = FirstFix("none")
    assert (fix.missed_is_minimum, fix.censored, fix.start_state, fix.place_basis, fix.estimate_basis) == (
        False, False, "unknown", "none", "",
    )  # fmt: skip
    assert np.isnan([fix.seconds, fix.at_least_s, fix.settle_s, fix.missed_m, fix.missed_share, fix.estimate_s]).all()
    places = by_hand().routes[0].route.xy_m[0]
    with pytest.raises(ValueError, match="read-only"):
        places[0] = 0.0


def test_an_analysis_is_no_published_copy_unless_it_is_said_to_be():
    """Of a copy readers are told that its ends are cut, so nothing is one by default."""
    assert {f.name: f.default for f in fields(Analysis)}["published"] is False


def test_a_figure_alone_is_exact_and_says_nothing_of_how_many_it_is_from():
    """A bound is marked as one ("at least"), and "from so many" stands only where it is known."""
    figure = Interval(3.0)
    assert (figure.value, figure.of, figure.at_least) == (3.0, 0, False)
    assert np.isnan([figure.low, figure.high]).all()


@pytest.mark.parametrize("library", ["numpy", "numba", "scipy", "pyproj"])
def test_another_version_of_a_library_that_figures_rest_on_is_other_code(library, monkeypatch):
    versions = {"numpy": "2", "numba": "0.6", "scipy": "1", "pyproj": "3"}
    monkeypatch.setattr(digests, "version_of", lambda name: versions[name])
    before = digests.code.__wrapped__()
    versions[library] += ".1"
    assert digests.code.__wrapped__() != before
