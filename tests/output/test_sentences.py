"""The sentences of the answer: every form of each, from comparisons and devices alone."""

from __future__ import annotations

import dataclasses

import pytest
from by_hand import by_hand
from output_sample import sample

from gpsq.output import wording
from gpsq.output.report import sentences
from gpsq.results import Way
from gpsq.summary_types import DeviceSummary, Interval, PairedComparison, Summaries

NAN = float("nan")


def compared(first, second, verdict, measure="ttff_s", shown=True, p=0.01):
    return PairedComparison(measure, first, second, 9, Interval(6.0), False, p, p, "test", 5.0, "", shown, verdict)


def told(*comparisons):
    analysis = dataclasses.replace(sample(), summaries=Summaries(comparisons=comparisons))
    return [s.replace(wording.GAP, " ") for s in sentences.answer(analysis)]


def test_a_difference_that_is_shown_is_said_as_its_comparison_says_it():
    assert told(
        compared("Amber", "Basalt", "Amber fixes later than Basalt: in the median -6.0 s (p = 0.010)"),
        compared("Amber", "Basalt", "Amber errs less than Basalt: ratio 0.50", "xte_p68_m"),
    ) == [
        "Amber fixes later than Basalt: in the median \N{MINUS SIGN}6.0 s (p = 0.010).",
        "Amber errs less than Basalt: ratio 0.50.",
    ]


def test_of_one_pair_what_cannot_be_told_is_said_with_its_grounds():
    verdict = "Amber and Basalt cannot be told apart in time to first fix: in the median 1.0 s"
    assert told(compared("Amber", "Basalt", verdict, shown=False)) == [verdict + "."]


def test_of_several_pairs_of_which_none_is_shown_one_sentence_says_so():
    pairs = [("A", "B"), ("A", "C"), ("B", "C")]
    assert told(*(compared(a, b, "x", "repeatability_m", shown=False) for a, b in pairs)) == [
        "No two devices can surely be told apart in repeatability."
    ]


def test_a_difference_that_may_be_chance_among_so_many_is_said_as_such():
    doubtful = "A errs more than B: ratio 1.98 (p = 0.008); among 12 comparisons such a difference may be chance"
    pairs = [
        compared("A", "B", doubtful, "xte_p68_m", shown=False, p=0.008),
        compared("A", "C", doubtful.replace("B", "C"), "xte_p68_m", shown=False, p=0.02),
        compared("B", "C", "B and C cannot be told apart in cross-track error", "xte_p68_m", shown=False, p=0.001),
    ]
    assert told(*pairs) == [f"No two devices can surely be told apart in cross-track error; nearest to it: {doubtful}."]


def test_of_many_differences_the_surest_are_said_and_the_others_counted():
    many = [compared("A", name, f"A fixes later than {name}", p=0.001 * (9 - k)) for k, name in enumerate("BCDEF")]
    assert told(*many) == [
        "A fixes later than F.", "A fixes later than E.", "A fixes later than D.",
        "2 more differences in time to first fix are listed below.",
    ]  # fmt: skip


def test_one_difference_more_is_told_as_one():
    many = [compared("A", name, f"A fixes later than {name}", p=0.001 * (9 - k)) for k, name in enumerate("BCDE")]
    assert told(*many)[3:] == ["1 more difference in time to first fix is listed below."]


def test_a_lone_device_is_compared_with_nobody():
    assert told() == []


def test_a_name_keeps_its_first_letter():
    assert sentences.sentence("bag errs more than bar: x") == "bag errs more than bar: x."
    assert sentences.sentence("nothing can be said of x") == "Nothing can be said of x."


# --- of one device --------------------------------------------------------------------------------------------------

FULL = {
    "ttff_known": Interval(10), "ttff_never": Interval(1, of=10), "fixed_in_10s": Interval(0.6, of=10),
    "fixed_in_30s": Interval(0.7, of=10), "fixed_in_60s": Interval(0.9, of=10), "missed_median_m": Interval(85.0),
    "missed_worst_m": Interval(910.0), "missed_is_minimum": Interval(0.0), "xte_median_m": Interval(1.8),
    "xte_p95_m": Interval(5.5), "receiver_errors": Interval(2.0), "scored_km": Interval(34.0), "undecided": Interval(0.0),
    "interval_median_s": Interval(1.0), "ttff_ways_p": Interval(0.4),
}  # fmt: skip


def of_device(rides=10, analysis=None, **changes):
    figures = {k: v for k, v in {**FULL, **changes}.items() if v is not None}
    return sentences.of_device(DeviceSummary("Amber", "", rides, figures), analysis).replace(wording.GAP, " ")


def test_the_sentences_to_read_aloud():
    assert of_device() == (
        "From pressing start to the first position: on 6 of 10 rides within 10 s, once never. "
        "Before it 85 m of road were missed in the median, at worst 910 m. "
        "Half of the road it stayed within 1.8 m of the usual line, 95 % within 5.5 m. 2 receiver errors on 34.0 km of road."
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"fixed_in_10s": Interval(0.5, of=10)}, "on 5 of 10 rides within 10 s, once never."),
        ({"fixed_in_10s": Interval(0.4, of=10)}, "on 7 of 10 rides within 30 s, once never."),
        ({f"fixed_in_{s}s": Interval(0.2, of=10) for s in (10, 30, 60)}, "on 2 of 10 rides within 60 s, once never."),
        ({"ttff_never": Interval(0, of=10)}, "on 6 of 10 rides within 10 s."),
        ({"ttff_never": Interval(2, of=10)}, "within 10 s, twice never."),
        ({"ttff_never": Interval(5, of=10)}, "within 10 s, on 5 never."),
        ({"ttff_known": Interval(0)}, "When it was started is not known. Before the first position 85 m of road"),
        (
            {"ttff_known": Interval(0), "ttff_estimate_median_s": Interval(17.0, of=4)},
            "When it was started is not known. Before the first position 85 m of road",
        ),
        (
            {"ttff_known": Interval(0), "ttff_estimate_median_s": Interval(17.0, of=5)},
            "about 17 s in the median, worked out on 5 of 10 rides;",
        ),
        ({"fixed_in_10s": Interval(1.0, of=1)}, "first position: on the only ride within 10 s"),
        (
            {f"fixed_in_{s}s": Interval(0.0, of=1) for s in (10, 30, 60)},
            "first position: on the only ride not within 60 s",
        ),
        ({"missed_median_m": Interval(85.0, at_least=True)}, "Before it at least 85 m of road were missed"),
        ({"missed_worst_m": Interval(910.0, at_least=True)}, "in the median, at worst at least 910 m."),
        (
            {"missed_median_m": Interval(0.0, at_least=True)},
            "once never. Before it 910 m of road were missed at worst. Half",
        ),
        (
            {"missed_median_m": Interval(0.0, at_least=True), "missed_worst_m": Interval(0.0, at_least=True)},
            "once never. Half",
        ),
        ({"missed_median_m": Interval(0.0)}, "Before it 0.0 m of road were missed in the median"),
        ({"missed_worst_m": Interval(85.0)}, "were missed in the median. Half"),
        ({"missed_median_m": None}, "once never. Half"),
        ({"xte_p95_m": Interval(NAN)}, "at worst 910 m. 2 receiver errors"),
        ({"receiver_errors": Interval(0.0)}, "No receiver error on 34.0 km of road."),
        ({"receiver_errors": Interval(1.0)}, "1 receiver error on 34.0 km of road."),
        ({"undecided": Interval(1.0)}, "of road, and 1 deviation of which it cannot be told."),
        ({"undecided": Interval(3.0)}, "of road, and 3 deviations of which it cannot be told."),
        ({"scored_km": Interval(0.0)}, "95 % within 5.5 m."),
        ({"receiver_errors": Interval(NAN)}, "95 % within 5.5 m."),
        ({"scored_km": Interval(0.9)}, "2 receiver errors on 900 m of road."),
        ({"ttff_known": Interval(1)}, "on 6 of 10 rides within 10 s"),
        ({"fixed_in_10s": Interval(NAN, of=10)}, "on 7 of 10 rides within 30 s"),
        ({"interval_median_s": Interval(10.0)}, "on 34.0 km of road."),
        ({"interval_median_s": Interval(20.0)}, "It records every 20 s, and the road between is cut short"),
        (
            {"spikes": Interval(1.0, method="in 1 of 8 recordings, the largest 250 m")},
            "Off and back within seconds once, in",
        ),
    ],
)
def test_every_branch(changes, said):
    assert said in of_device(**changes)


@pytest.mark.parametrize(("name", "said"), [
    ("Amber", "worked out from another device of the ride and the road missed; start"),
    ("Basalt", "worked out from the file’s name; start"), ("Cobalt", "worked out; start"),
])  # fmt: skip
def test_what_a_time_is_worked_out_from_is_of_the_device(name, said):
    bases = {0: "road", 1: "file name", 2: "companion", 3: ""}
    found = by_hand()
    results = [
        dataclasses.replace(r, first_fix=dataclasses.replace(r.first_fix, estimate_basis=bases[r.trace]))
        for r in found.results
    ]
    analysis = dataclasses.replace(found, results=tuple(results))
    figures = {"ttff_known": Interval(0), "ttff_estimate_median_s": Interval(17.0, 9.0, 25.0, of=10)}
    text = sentences.of_device(DeviceSummary(name, "", 10, figures), analysis).replace(wording.GAP, " ")
    assert text.startswith(f"From pressing start to the first position about 17 s (9 s to 25 s) in the median, {said}")


@pytest.mark.parametrize("share", [Interval(NAN, of=10), Interval(0.6)])
def test_shares_that_are_not_known_are_not_said(share):
    assert of_device(**{f"fixed_in_{s}s": share for s in (10, 30, 60)}).startswith("Before it 85 m of road were missed")


def test_few_rides_are_said_and_nothing_known_too():
    assert of_device(rides=2).endswith(" Too few rides (2) to say more.")
    assert "Too few" not in of_device(rides=3)
    assert (
        sentences.of_device(DeviceSummary("Amber", "", 9, {"ttff_known": Interval(3)}))
        == "Gave nothing that can be measured."
    )


def test_a_copy_is_no_recording_that_stopped_before_the_end():
    whole = by_hand()
    copied = dataclasses.replace(whole.results[1], duplicate_of="basalt/other.gpx")
    for second, said in ((whole.results[1], "1 of 2 recordings stopped 219 m before the end"), (copied, "")):
        analysis = dataclasses.replace(whole, results=(whole.results[0], second, *whole.results[2:]))
        summary = DeviceSummary("Basalt", "", 11, {})
        assert sentences.early(summary, analysis).replace(wording.GAP, " ") == said


def test_both_ways_apart_where_they_differ():
    ways = tuple(
        DeviceSummary("Amber", route, 5, {"fixed_in_10s": Interval(share, of=5), "ttff_median_s": Interval(median_s)})
        for route, share, median_s in (("A", 1.0, 7.0), ("B", 0.2, 21.5))
    )
    analysis = dataclasses.replace(sample(), summaries=Summaries(devices=ways))
    apart = of_device(analysis=analysis, ttff_ways_p=Interval(0.01))
    assert "once never (5 of 5 on way A, 1 of 5 on way B); in the median 7 s on way A, 22 s on way B." in apart
    lost = dataclasses.replace(ways[1], figures={"fixed_in_10s": Interval(0.2, of=5), "ttff_median_s": Interval(NAN)})
    half = dataclasses.replace(
        analysis, summaries=Summaries(devices=(ways[0], lost))
    )  # one way's median is not reached
    assert "(5 of 5 on way A, 1 of 5 on way B). Before it" in of_device(analysis=half, ttff_ways_p=Interval(0.01))
    called = dataclasses.replace(analysis, ways={"A": Way("back", "back"), "B": Way("to work", "to work")})
    apart = of_device(analysis=called, ttff_ways_p=Interval(0.01))
    assert "(5 of 5 on the way back, 1 of 5 on to work); in the median 7 s on the way back, 22 s on to work." in apart
    assert "on way" not in of_device(analysis=analysis)
    for p, told in ((0.05, True), (0.051, False)):
        assert ("on way B" in of_device(analysis=analysis, ttff_ways_p=Interval(p))) is told


@pytest.mark.parametrize(("count", "times"), [(1.0, "once"), (2.0, "2 times"), (3.0, "3 times")])
def test_how_often_fixes_were_off_for_a_moment(count, times):
    found = sentences.spikes(DeviceSummary("Amber", "", 8, {"spikes": Interval(count, method="in 1 of 8 recordings")}))
    assert f"off and back within seconds {times}, in 1 of 8" in found.replace(wording.GAP, " ")
