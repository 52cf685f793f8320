"""Figures in words: every form on both sides of its limit, and unknown said as such."""

from __future__ import annotations

from dataclasses import replace

import pytest
from by_hand import by_hand

from gpsq.model import FirstFix
from gpsq.output import headlines, wording
from gpsq.results import Way
from gpsq.summary_types import Interval

NAN, INF = float("nan"), float("inf")


def plain(text):
    return text.replace(wording.GAP, " ")


@pytest.mark.parametrize(("value", "said"), [
    (0.0, "0 s"), (0.04, "0 s"), (0.06, "0.1 s"), (9.0, "9 s"), (9.94, "9.9 s"), (9.96, "10 s"), (10.4, "10 s"), (119.4, "119 s"),
    (119.6, "2 min"), (120.0, "2 min"), (121.0, "2 min 1 s"), (179.0, "2 min 59 s"), (180.0, "3 min"),
    (3599.4, "59 min 59 s"), (3599.6, "1 h 0 min"), (3661.0, "1 h 1 min"), (7170.0, "2 h 0 min"), (90_061.0, "25 h 1 min"),
    (INF, "unknown"), (NAN, "unknown"),
])  # fmt: skip
def test_durations(value, said):
    assert plain(wording.seconds(value)) == said


@pytest.mark.parametrize(("value", "said"), [
    (0.0, "0.0 m"), (0.06, "0.1 m"), (9.94, "9.9 m"), (9.96, "10 m"), (10.4, "10 m"), (999.4, "999 m"), (999.6, "1.00 km"),
    (1000.0, "1.00 km"), (9994.0, "9.99 km"), (9996.0, "10.0 km"), (12_345.0, "12.3 km"), (-0.04, "0.0 m"), (-0.06, "−0.1 m"),
    (-9.96, "−10 m"), (-999.6, "−1.00 km"), (-12_345.0, "−12.3 km"), (INF, "unknown"), (NAN, "unknown"),
])  # fmt: skip
def test_lengths(value, said):
    assert plain(wording.metres(value)) == said


@pytest.mark.parametrize(("value", "said"), [
    (0.0, "0 %"), (0.00049, "under 0.1 %"), (0.00051, "0.1 %"), (0.0094, "0.9 %"), (0.01, "1 %"), (0.014, "1 %"), (0.5, "50 %"),
    (0.9899, "99 %"), (0.99, "99 %"), (0.9906, "99.1 %"), (0.9994, "99.9 %"), (0.99951, "over 99.9 %"), (1.0, "100 %"),
    (1.5, "150 %"), (NAN, "unknown"), (INF, "unknown"),
])  # fmt: skip
def test_shares(value, said):
    assert plain(wording.share(value)) == said


@pytest.mark.parametrize(("value", "said"), [
    (0.04, "as long as"), (-0.04, "as long as"), (0.06, "0.1 m longer than"), (-0.06, "0.1 m shorter than"),
    (-1200.0, "1.20 km shorter than"),
])  # fmt: skip
def test_ways_longer_and_shorter(value, said):
    assert plain(wording.longer(value)) == said


@pytest.mark.parametrize(("low", "high", "said"), [
    (9.0, 20.0, "9 s to 20 s"), (NAN, 20.0, "up to 20 s"), (9.0, INF, "over 9 s"), (9.0, NAN, "over 9 s"),
    (0.0, 20.0, "0 s to 20 s"), (0.0, INF, ""), (NAN, INF, ""), (NAN, NAN, ""),
])  # fmt: skip
def test_bounds(low, high, said):
    assert plain(wording.between(Interval(12.0, low, high))) == said
    with pytest.raises(TypeError, match="say must turn a figure into text"):
        wording.between(Interval(12.0, 9.0, 20.0), "metres")


def test_bounds_in_metres():
    assert plain(wording.between(Interval(1.0, 0.5, 1500.0), wording.metres)) == "0.5 m to 1.50 km"


ABOUT = {"estimate_s": 25.0, "estimate_low_s": 19.0, "estimate_high_s": 31.0, "estimate_basis": "road"}


@pytest.mark.parametrize(("fix", "said"), [
    ({}, "start unknown"),
    ({"seconds": 58.0}, "fixed after 58 s"),
    ({"seconds": 58.0, "missed_m": 0.0}, "fixed after 58 s, 0.0 m missed"),
    ({"seconds": 58.0, "missed_m": 0.04, "missed_is_minimum": True}, "fixed after 58 s"),
    ({"seconds": 58.0, "missed_m": 0.06, "missed_is_minimum": True}, "fixed after 58 s, at least 0.1 m missed"),
    ({"at_least_s": 40.0}, "fixed after at least 40 s"),
    ({"at_least_s": 40.0} | ABOUT, "fixed after at least 40 s"),
    ({"missed_m": 85.0} | ABOUT, "fixed after about 25 s (19 s to 31 s), 85 m missed"),
    (ABOUT | {"estimate_high_s": INF}, "fixed after about 25 s (over 19 s)"),
    ({"missed_m": 85.0}, "start unknown, 85 m missed"),
    ({"censored": True}, "never fixed"),
    ({"censored": True, "at_least_s": 900.0, "missed_m": 85.0}, "never fixed in 15 min"),
])  # fmt: skip
def test_first_fixes(fix, said):
    assert plain(wording.first_fix(FirstFix("none", **fix))) == said


@pytest.mark.parametrize(("fix", "said"), [
    (FirstFix("log"), "start from the start log"), (FirstFix("none"), "start unknown"),
    (FirstFix("points before fix"), "start from records before the fix"), (FirstFix("file time"), "start from the file’s own time"),
    (FirstFix("bell"), "start: bell"),
    (FirstFix("none", **ABOUT), "worked out from the road missed; start pressed is not recorded"),
    (FirstFix("none", **(ABOUT | {"estimate_basis": "companion"})),
     "worked out from another device of the ride; start pressed is not recorded"),
    (FirstFix("log", **(ABOUT | {"estimate_basis": "file name"})),
     "worked out from the file’s name; start pressed is not recorded"),
])  # fmt: skip
def test_how_a_start_is_known(fix, said):
    assert wording.start_known(fix) == said


@pytest.mark.parametrize(
    ("low", "high", "said"), [(90.0, 122.0, "90 m to 122 m"), (NAN, 122.0, ""), (90.0, NAN, ""), (NAN, NAN, "")]
)
def test_bounds_of_the_road_missed(low, high, said):
    assert plain(wording.missed_between(FirstFix("none", missed_low_m=low, missed_high_m=high))) == said


def test_the_road_missed():
    assert wording.missed(FirstFix("none")) == "unknown"
    assert plain(wording.missed(FirstFix("none", missed_m=12.0))) == "12 m"
    assert plain(wording.missed(FirstFix("none", missed_m=12.0, missed_is_minimum=True))) == "at least 12 m"


@pytest.mark.parametrize(("text", "said"), [
    ("-4.1 m and x-4 and 3-4", "−4.1 m and x-4 and 3-4"), ("12 % and 12%", "12 % and 12 %"),
    ("5 s, 5 m, 5 km, 5 min, 5 metres, 5 h", "5 s, 5 m, 5 km, 5 min, 5 metres, 5 h"), ("a\tb", "a b"),
])  # fmt: skip
def test_sentences_for_the_page(text, said):
    assert plain(wording.typeset(text)) == said
    assert wording.typeset("5 m, 5 metres") == f"5{wording.GAP}m, 5 metres"
    assert wording.typeset("5 h, 5 min, 5%") == f"5 h, 5{wording.GAP}min, 5{wording.GAP}%"


@pytest.mark.parametrize(("title", "folder", "said"), [
    ("Quay and weir", "week", "Quay and weir"), ("", "rides/week 3", "week 3"), ("", "rides\\week 4", "week 4"),
    ("", "", "Repeated rides"),
    (" . ", "week", "Repeated rides"), ("Quay\nweir", "", "Quay weir"),
])  # fmt: skip
def test_titles(title, folder, said):
    assert wording.title(by_hand(title=title, folder=folder)) == said


def test_ways_in_words():
    named = by_hand(
        ways={"out": Way("out, mornings", "out"), "home": Way("to the quay", "to the quay"), "C": Way("east", "")}
    )
    assert [wording.way(named, r) for r in ("out", "home", "C", "D")] == [
        "out (out, mornings)", "home (to the quay)", "C (east)", "D",
    ]  # fmt: skip
    assert [wording.way_short(named, r) for r in ("out", "home", "C", "D")] == [
        "out (out)",
        "home (to the quay)",
        "C",
        "D",
    ]
    assert [wording.on_way(named, r) for r in ("out", "home", "C", "D")] == [
        "on the way out", "on to the quay", "on way C", "on way D",
    ]  # fmt: skip
    back = by_hand(ways={"B": Way("back, evenings", "back"), "E": Way("", "")})
    assert [wording.on_way(back, "B"), wording.way(back, "E")] == ["on the way back", "E"]


@pytest.mark.parametrize(("length", "said"), [(9, "abcdefghi"), (8, "abcd…ghi"), (7, "abc…ghi"), (4, "ab…i")])
def test_long_names_are_cut_in_their_middle(length, said):
    assert wording.short("abcdefghi", length) == said
    assert len(wording.short("x" * 99)) == 28
    assert wording.short("x" * 28) == "x" * 28


SOON, LATE, NEVER, UNKNOWN = (
    FirstFix("log", seconds=30.0), FirstFix("log", seconds=30.1), FirstFix("log", censored=True), FirstFix("none"),
)  # fmt: skip


@pytest.mark.parametrize(("fixes", "count"), [
    ([SOON, LATE, NEVER, UNKNOWN], (1, 3)), ([FirstFix("none", at_least_s=30.0)], (0, 0)),
    ([FirstFix("none", at_least_s=30.1)], (0, 1)), ([], (0, 0)),
])  # fmt: skip
def test_how_many_were_fixed_soon(fixes, count):
    assert headlines.quick_count(fixes) == count


@pytest.mark.parametrize(("fixes", "said"), [
    ([SOON], "fixed within 30 s on the only ride"), ([LATE, UNKNOWN], "not fixed within 30 s on the only ride"),
    ([SOON, LATE, NEVER], "fixed within 30 s on 1 of 3 rides"), ([LATE, NEVER], "fixed within 30 s on none of 2 rides"),
    ([UNKNOWN], ""), ([], ""),
])  # fmt: skip
def test_the_headline_of_first_fixes(fixes, said):
    assert plain(headlines.quick(fixes)) == said
    assert plain(headlines.quick(fixes, "recordings")) == said.replace("ride", "recording")


@pytest.mark.parametrize(("fixes", "said"), [
    ({"a": [SOON, SOON], "b": [LATE, SOON]}, "fixed within 30 s on 1 of 2 rides (b), 2 of 2 (a)"),
    ({"a": [SOON] * 2, "b": [LATE] * 3, "c": [SOON, LATE]}, "fixed within 30 s on 0 of 3 rides (b) to 2 of 2 (a)"),
    ({"a": [SOON, LATE]}, "fixed within 30 s on 1 of 2 rides"),
    ({"a": [SOON, LATE], "b": [UNKNOWN]}, "fixed within 30 s on 1 of 2 rides (a)"),
    ({"a device of a long name": [SOON, SOON], "b": []}, "fixed within 30 s on 2 of 2 rides (a device …ong name)"),
    ({"a": [UNKNOWN]}, ""), ({}, ""),
])  # fmt: skip
def test_the_headline_of_several_devices(fixes, said):
    assert plain(headlines.of_devices(fixes)) == said


@pytest.mark.parametrize(("values", "said"), [
    ({"a": 6.1}, "6.1 m"), ({"a": 6.1, "b": NAN}, "6.1 m (a)"), ({"b": 9.0, "a": 6.1}, "6.1 m (a) to 9.0 m (b)"),
    ({"c": 7.0, "b": 9.0, "a": 6.1}, "6.1 m (a) to 9.0 m (b)"), ({"a": NAN}, ""), ({}, ""),
])  # fmt: skip
def test_the_least_and_the_most(values, said):
    assert plain(headlines.least_and_most(values)) == said


def test_a_headline_begins_with_a_capital():
    assert [headlines.capital(text) for text in ("fixed SOON", "", "x")] == ["Fixed SOON", "", "X"]
    assert headlines.least_and_most({"a": 1.0}, "metres") == ""
    assert plain(headlines.least_and_most({"a": 70.0}, wording.seconds)) == "70 s"


def test_early_stops():
    assert plain(wording.stopped_early(219.0)) == "stopped 219 m before the others of its way end"
    assert wording.stopped_early(NAN) == ""
    assert plain(wording.about(replace(FirstFix("none"), **ABOUT))) == "about 25 s (19 s to 31 s)"
