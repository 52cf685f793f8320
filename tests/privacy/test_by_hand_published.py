"""What is published of an analysis in which every figure is another number: as it is, coarser, or not at all."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from by_hand import by_hand

from gpsq.measures.route import Measured
from gpsq.model import CrossTrack, FirstFix, Spike
from gpsq.output.tables import columns, tables
from gpsq.privacy import ends, figures, neutral
from gpsq.summary_types import DeviceSummary, Interval

NAN = float("nan")
AMBER = "Amber"


@pytest.fixture(scope="module")
def whole():
    return by_hand()


def cells_of(frame) -> list[dict[str, str]]:
    import csv
    import io

    return list(csv.DictReader(io.StringIO(tables.csv_text(frame))))


def test_of_a_first_fix_days_seconds_and_metres_are_told(whole):
    fixes = [figures.first_fix(result.first_fix) for result in whole.results]
    told = [
        (f.basis, str(f.started), str(f.first_fix), f.seconds, f.censored, f.settle_s, f.missed_m, f.missed_is_minimum,
         f.start_state)
        for f in fixes
    ]  # fmt: skip
    assert told[0] == ("log", "2026-05-04", "2026-05-04", 23.125, False, 14.375, 61.27, False, "warm")
    assert told[1] == ("points before fix", "2026-05-04", "2026-05-04", 58.75, False, 22.625, 179.43, True, "cold")
    np.testing.assert_equal(told[2], ("log", "2026-05-05", "NaT", NAN, True, NAN, NAN, False, "warm"))
    np.testing.assert_equal(told[3], ("none", "NaT", "2026-05-06", NAN, False, 3.25, 12.19, False, "warm"))
    assert [f.at_least_s for f in fixes][2] == 60.0
    assert np.isnan([[f.missed_share, f.hours_since_fix] for f in fixes]).all()


@pytest.mark.parametrize(("at_least_s", "told"), [(12.5, 12.5), (60.0, 60.0), (61.0, 60.0), (NAN, NAN)])
def test_a_bound_of_the_time_is_told_up_to_a_minute(at_least_s, told):
    np.testing.assert_equal(figures.first_fix(FirstFix("log", at_least_s=at_least_s, censored=True)).at_least_s, told)


def test_a_bound_of_the_metres_of_one_that_never_fixed_is_none():
    fix = figures.first_fix(FirstFix("log", censored=True, missed_m=900.0, missed_is_minimum=True))
    assert (np.isnan(fix.missed_m), fix.missed_is_minimum) == (True, False)


def test_bounds_of_the_metres_are_told_of_one_that_fixed_and_of_no_other():
    """One that never fixed missed the whole route: either bound would be its length."""
    fix = FirstFix("log", seconds=9.0, missed_m=34.0, missed_low_m=12.0, missed_high_m=56.0)
    told = figures.first_fix(fix)
    assert (told.missed_m, told.missed_low_m, told.missed_high_m) == (34.0, 12.0, 56.0)
    never = dataclasses.replace(fix, censored=True, missed_m=7012.0, missed_low_m=6990.0, missed_high_m=7034.0)
    told = figures.first_fix(never)
    assert np.isnan([told.missed_m, told.missed_low_m, told.missed_high_m]).all()


def test_of_errors_decimetres_and_of_shares_whole_per_cent_are_told(whole):
    """Amber's five scored stations are too few for a share; of a hundred it is told."""
    amber = whole.results[0].crosstrack
    found = figures.crosstrack(amber, None)
    assert (found.bias_m, found.rms_m, found.median_m, found.p68_m, found.p95_m) == (-1.2, 3.3, 2.4, 4.5, 7.6)
    assert np.isnan([found.within_5m, found.within_10m, found.scored_m, found.before_settling_rms_m]).all()
    assert (len(found.along_m), len(found.offset_m), len(found.scored)) == (0, 0, 0)
    many = np.ones(120)
    long = CrossTrack(many, many, many.astype(bool), *[1.26] * 4, 0.8125, 0.9375, 500.0)
    found = figures.crosstrack(long, None)
    assert (found.within_5m, found.within_10m, found.rms_m) == (0.81, 0.94, 1.3)
    for count, told in ((99, NAN), (100, 0.81)):
        counted = dataclasses.replace(long, scored=np.arange(120) < count)
        np.testing.assert_equal(figures.crosstrack(counted, None).within_5m, told)


def test_where_a_part_is_shown_the_errors_are_its_own(whole):
    """Of the whole nothing is told then, not even that there are errors, where the part has none."""
    amber, three = whole.results[0], np.ones(3)
    errors = CrossTrack(three, three * 7, three.astype(bool), 1.11, 2.22, 3.33, 4.44, 0.123, 0.246, 15.0, 5.55, 6.66)
    curves = dataclasses.replace(amber.curves, hausdorff_m=8.88, length_ratio=1.2345)
    part = Measured(0, "", amber.first_fix, errors, curves)
    found = figures.crosstrack(amber.crosstrack, part)
    assert (found.bias_m, found.rms_m, found.median_m, found.p95_m, found.p68_m) == (1.1, 2.2, 3.3, 4.4, 6.7)
    assert (found.within_5m, found.within_10m, found.scored_m) == (0.12, 0.25, 15.0)
    assert (found.offset_m.tolist(), found.scored.tolist()) == ([7.0] * 3, [True] * 3)
    assert np.isnan(found.before_settling_rms_m)
    shown = figures.curves(amber.curves, part)
    assert (shown.hausdorff_m, shown.length_ratio, np.isnan(shown.at_m)) == (8.9, 1.234, True)
    nothing = Measured(0, "", amber.first_fix)
    unknown = figures.crosstrack(amber.crosstrack, nothing)
    assert np.isnan([unknown.rms_m, unknown.within_5m, unknown.scored_m]).all()
    assert figures.curves(amber.curves, nothing) is None
    assert figures.crosstrack(None, part) is None


def test_spikes_are_those_that_are_shown(whole):
    """Of a recording of which nothing is shown the figures are those of the whole."""
    amber = whole.results[0]
    assert figures.spikes(amber, None) == {"spikes": 2, "largest_spike_m": 33.4}
    trace = dataclasses.replace(whole.traces[0], spikes=(Spike(5, 1, 21.26), Spike(6, 2, 44.44), Spike(99, 1, 77.0)))
    assert figures.spikes(amber, trace) == {"spikes": 2, "largest_spike_m": 44.4}
    none = figures.spikes(amber, whole.traces[0])
    assert (none["spikes"], np.isnan(none["largest_spike_m"])) == (0, True)
    assert figures.spikes(dataclasses.replace(amber, spikes=None), trace)["spikes"] is None


def test_of_curves_the_place_and_the_share_are_not_told(whole):
    found = figures.curves(whole.results[0].curves, None)
    assert (found.hausdorff_m, found.from_trace_m, found.from_line_m, found.frechet_m, found.frechet_discrete_m) == (
        12.8, 12.8, 12.8, 13.9, 15.1,
    )  # fmt: skip
    assert found.length_ratio == 1.012
    assert np.isnan([found.at_m, found.coverage]).all()
    assert figures.curves(None, None) is None


def test_the_published_table_has_days_and_blanks(whole):
    """Recordings that could not be read have no time, that which never fixed no first fix, the last no start."""
    days = tuple(dataclasses.replace(r, first_fix=figures.first_fix(r.first_fix)) for r in whole.results)
    rows = cells_of(tables.tracks(dataclasses.replace(whole, results=days)))
    assert [row["started"] for row in rows] == ["2026-05-04", "2026-05-04", "2026-05-05", "", ""]
    assert [row["first_fix"] for row in rows] == ["2026-05-04", "2026-05-04", "", "2026-05-06", ""]
    assert {row["hours_since_fix"] + row["missed_share"] for row in rows} == {""}


#: Figures of Amber over all routes: as they are, to the decimetre, to three decimals; all others are not told.
AMBERS = {
    "ttff_known": "11", "fixed_in_10s": "0.125", "fixed_in_10s_low": "0.0321", "fixed_in_10s_high": "0.2876",
    "fixed_in_30s": "0.375", "fixed_in_30s_low": "0.1432", "fixed_in_30s_high": "0.6543", "fixed_in_60s": "0.625",
    "fixed_in_60s_low": "0.3211", "fixed_in_60s_high": "0.8765", "ttff_never": "2", "ttff_median_s": "34.26",
    "ttff_low_s": "17.76", "ttff_high_s": "71.6", "ttff_estimate_median_s": "28.4", "ttff_estimate_low_s": "21.7",
    "ttff_estimate_high_s": "39.6", "ttff_ways_p": "0.0432", "settle_median_s": "12.6",
    "usable_median_s": "47.26", "missed_is_minimum": "true", "missed_known": "10", "xte_median_m": "2.3", "xte_median_low_m": "1.8",
    "xte_median_high_m": "3.3", "xte_p68_m": "4.2", "xte_p68_low_m": "3.7", "xte_p68_high_m": "5.4", "xte_p95_m": "8.5",
    "xte_p95_low_m": "7.6", "xte_p95_high_m": "9.9", "xte_rms_m": "6.6", "repeatability_m": "3.9",
    "repeatability_low_m": "3.0", "repeatability_high_m": "4.8", "bias_m": "-1.2", "offset_body_m": "0.8",
    "offset_ground_m": "-1.4", "hausdorff_median_m": "27.6", "frechet_median_m": "29.6", "length_ratio_median": "1.003",
    "interval_median_s": "5.26", "device": "Amber", "route": "", "rides": "12",
    # of the part that is shown: nothing of Amber's is
    "scored_rides": "0", "scored_km": "0.0",
}  # fmt: skip


def test_every_published_cell_of_a_device(whole):
    """What a recording missed of the road is told where the recordings tell it: 61.27 and 12.19 m, or the middle of two."""
    summaries = figures.over_recordings(whole, (), ()).devices
    rows = cells_of(
        tables.devices(dataclasses.replace(whole, summaries=dataclasses.replace(whole.summaries, devices=summaries)))
    )
    assert {name: value for name, value in rows[0].items() if value or name == "route"} == AMBERS
    assert rows[0].keys() == {column.name for column in columns.of_file("devices")}


def test_deviations_and_spikes_are_counted_of_each_way_by_itself(whole):
    """Basalt's are on the way out; of its recording on the way home, which is shown and has none, none are told."""
    shown = [dataclasses.replace(r, deviations=()) if r.route == "home" else r for r in whole.results]
    ways = [DeviceSummary("Basalt", route, 1, {}) for route in ("", "out", "home")]
    found = {s.route: s.figures for s in figures.devices(whole, ways, shown)}
    assert [found[route]["scored_rides"].of for route in ("", "out", "home")] == [2, 1, 1]
    assert [found[route]["receiver_errors"].value for route in ("", "out")] == [1.0, 1.0]
    assert np.isnan(found["home"]["receiver_errors"].value)
    assert [found[route]["spikes"].value for route in ("", "out", "home")] == [1.0, 1.0, 0.0]


@pytest.mark.parametrize(
    ("value", "low", "high", "told"),
    [
        (61.27, 12.0, 83.32, (61.27, NAN, 83.32)), (61.27, 51.28, 61.27, (61.27, 51.28, NAN)),
        (61.30, 51.29, 83.31, (NAN, NAN, NAN)), (61.29, NAN, NAN, (61.29, NAN, NAN)),
        (120.35, 115.36, 131.37, (120.35, 115.36, 131.37)), (118.16, 51.29, 83.31, (NAN, NAN, NAN)),
    ],
)  # fmt: skip
def test_road_missed_is_told_where_the_recordings_give_it(whole, value, low, high, told):
    """Of 61.27 and 179.43 m the middle is 120.35; their difference, 118.16, is not given.

    Their lower bounds are 51.29 and 179.43, which has none of its own, the upper ones 83.31 and 179.43.
    """
    traces = tuple(dataclasses.replace(t, device=AMBER) for t in whole.traces)
    analysis = dataclasses.replace(whole, traces=traces)
    summary = DeviceSummary(AMBER, "out", 3, {"missed_median_m": Interval(value, low, high, "m")})
    (found,) = figures.devices(analysis, [summary], ())
    missed = found.figures["missed_median_m"]
    np.testing.assert_equal((missed.value, missed.low, missed.high), told)
    assert missed.method == ("m" if np.isfinite(told[0]) else figures.WITHHELD)


def test_only_a_devices_own_recordings_on_the_route_give_its_road(whole):
    """Basalt missed 179.43 m on the way out and 12.19 m on the way home; Amber's 61.27 m say nothing of it."""
    for route, known in (("out", [179.43]), ("home", [12.19]), ("", [179.43, 12.19])):
        assert figures._missed_m(whole, DeviceSummary("Basalt", route, 1, {})).tolist() == [known] * 3
    assert figures._missed_m(whole, DeviceSummary(AMBER, "", 1, {})).tolist() == [[61.27], [51.29], [83.31]]


def test_deviations_are_counted_on_what_is_shown(whole):
    """Shown are Basalt's two recordings: one receiver error and one choice of road on 302.23 m that were scored."""
    shown = [whole.results[1], dataclasses.replace(whole.results[0], trace=3, duplicate_of="x")]
    found = {s.route: s.figures for s in figures.over_recordings(whole, (), shown).devices if s.device == "Basalt"}
    assert {n: found[""][n].value for n in ("receiver_errors", "route_choices", "undecided", "scored_rides")} == {
        "receiver_errors": 1.0, "route_choices": 1.0, "undecided": 0.0, "scored_rides": 1.0,
    }  # fmt: skip
    assert found[""]["scored_km"].value == pytest.approx(0.30223)
    assert found["home"]["scored_rides"].value == 0.0


def test_of_what_is_summed_up_the_names_of_lines_and_the_counts_of_fixes_are_not_told(whole):
    found = figures.over_recordings(whole, ("spot",), ())
    same = (
        "start_states", "comparisons", "error_variances", "offsets_between", "ranks", "route_ratios", "quality_trends",
        "distance_biases",
    )  # fmt: skip
    for name in same:
        assert getattr(found, name) == getattr(whole.summaries, name), name
        assert getattr(found, name), name
    assert (found.hot_spots, found.hot_spot_searches) == (("spot",), ())
    assert [(c.fixes, c.rms_m) for c in found.quality_classes] == [(0, 2.7), (0, 3.8), (0, 5.2)]
    assert {row.file for row in found.reference} == {"reference line"}
    assert np.isnan([row.shared_m for row in found.reference]).all()
    assert [row.found.bias_m.value for row in found.reference] == [-3.16, -2.66]


# ---- names ----
def test_names_of_rides_and_files_follow_the_time_alone(whole):
    turned = dataclasses.replace(whole, traces=whole.traces[::-1], results=whole.results[::-1])
    assert neutral.ride_names(turned.traces, turned.results) == {"": "", "R01": "R01", "R02": "R02", "R03": "R03"}
    swapped = [dataclasses.replace(r, ride={"R01": "Jane", "R02": "Ann", "R03": "Zoe"}[r.ride]) for r in whole.results]
    assert neutral.ride_names(whole.traces, swapped) == {"": "", "Jane": "R01", "Ann": "R02", "Zoe": "R03"}
    same = {"Amber": "Amber", "Basalt": "device 1"}
    assert neutral.file_names(whole.traces, same) == ["Amber 01", "device 1 01", "Amber 02", "device 1 02"]
    assert neutral.file_names(whole.traces[::-1], same) == ["device 1 02", "Amber 02", "device 1 01", "Amber 01"]


def test_a_name_is_kept_where_the_person_chose_it(whole):
    def named(*traces, chosen=()):
        return neutral.device_names(traces, (), chosen)

    trace = whole.traces[0]
    by_creator = dataclasses.replace(trace, file="mon.gpx", device="Maker X", creator="Maker X")
    assert named(by_creator) == {"Maker X": "device 1"}
    assert named(by_creator, chosen=("Maker X",)) == {"Maker X": "Maker X"}
    assert named(dataclasses.replace(by_creator, file="Maker X/mon.gpx")) == {"Maker X": "Maker X"}
    assert named(dataclasses.replace(by_creator, creator="else")) == {"Maker X": "Maker X"}
    serial = dataclasses.replace(by_creator, device="40917733", file="40917733/mon.gpx")
    assert named(serial, chosen=("40917733",)) == {"40917733": "device 1"}
    taken = dataclasses.replace(trace, device="device 1", file="device 1/mon.gpx")
    assert named(by_creator, taken) == {"Maker X": "device 2", "device 1": "device 1"}
    lost = neutral.device_names((), whole.unreadable, ())
    assert lost == {"Amber": "Amber"}


def test_what_could_not_be_read_is_told_by_its_kind(whole):
    (lost,) = neutral.unreadable_names(whole.unreadable, {"Amber": "device 7"})
    assert lost == dataclasses.replace(
        whole.unreadable[0], file="unreadable 01", track=1, points=0, set_aside=(), message="unreadable 01: html page",
        sha256="", device="device 7",
    )  # fmt: skip


def test_a_recording_begins_at_the_first_time_that_has_a_date(whole):
    """The first fix, else the start, the first record, the file's own time; a time of day alone, of 1970, is none."""
    amber, _, lost, _ = whole.traces
    assert [str(neutral.began(t)) for t in (amber, lost)] == ["2026-05-04T07:00:30.000", "2026-05-05T07:03:00.000"]
    undated = np.datetime64("1970-01-01T06:50", "ms")
    later = np.datetime64("2026-05-05T07:04", "ms")
    assert neutral.began(dataclasses.replace(lost, started=undated, first_record=later)) == later
    nothing = dataclasses.replace(lost, started=undated, first_record=undated, file_time=undated)
    assert np.isnat(neutral.began(nothing))
    assert neutral.began(dataclasses.replace(nothing, file_time=later)) == later


@pytest.mark.parametrize(
    ("time", "day"), [("2025-03-03T23:59:59", "2025-03-03"), ("1970-01-01T06:50", "NaT"), ("1980-01-06", "1980-01-06")]
)
def test_a_time_is_told_to_its_day_where_it_has_one(time, day):
    assert str(neutral.day(np.datetime64(time, "ms"))) == day


# ---- ends ----
def ends_with(whole, lon_deg, lat_deg=47.0):
    """Return the places that count as the beginning of the way out, with a logged start of Amber's there."""
    amber = dataclasses.replace(whole.traces[0], start_lon_deg=lon_deg, start_lat_deg=lat_deg)
    analysis = dataclasses.replace(whole, traces=(amber, *whole.traces[1:]))
    beginning, _ = ends._ends_of(analysis, analysis.routes[0])
    return beginning.places_deg.round(6).tolist()


def test_a_logged_start_near_the_beginning_is_hidden_with_it(whole):
    """114 m before the line's beginning lies the home; 228 m off is elsewhere; 100 m on along the road is a late fix."""
    assert ends_with(whole, 11.9985) == [[12.0, 47.0], [11.9985, 47.0]]
    assert ends_with(whole, 12.0001, 47.001) == [[12.0, 47.0], [12.0001, 47.001]]
    assert ends_with(whole, 11.997) == [[12.0, 47.0]]
    assert ends_with(whole, 12.0013, 47.0002) == [[12.0, 47.0]]
    assert ends_with(whole, np.nan, np.nan) == [[12.0, 47.0]]
