"""Cards of events: what they are called, what they say, and what may be decided on them."""

from __future__ import annotations

import dataclasses
import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample

from gpsq.exceptions import InputError
from gpsq.model import NAT
from gpsq.output import terminal
from gpsq.output.report.cards import by_event, card, meant, title
from gpsq.output.report.page import report_page
from gpsq.output.wording import GAP
from gpsq.results import Way

if TYPE_CHECKING:
    from gpsq.results import Analysis

WHEN = np.datetime64("2025-09-11T23:59:30", "ms")


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    """A campaign of hand with its first three deviations made one event: 40, 90 and 60 m off."""
    made = sample()
    first = made.deviations[0]
    event = [
        dataclasses.replace(
            d, id=f"n{k}", event="E1", from_m=1000.0 + k, to_m=1400.0 + 10 * k, peak_m=peak_m, side="right", route=first.route,
            extra_m=extra_m, from_time=WHEN, flag="", note="", suggestion="route choice", evidence="2 of 2 agree",
        )
        for k, (d, peak_m, extra_m) in enumerate(zip(made.deviations[:3], (40.0, 90.0, 60.0), (12.0, -9.6, 0.0), strict=True))
    ]  # fmt: skip
    found = (*event, *made.deviations[3:])
    by_id = {id(old): new for old, new in zip(made.deviations, found, strict=True)}
    results = tuple(
        dataclasses.replace(r, deviations=tuple(by_id[id(d)] for d in r.deviations), vanished=()) for r in made.results
    )
    return dataclasses.replace(made, deviations=found, results=results)


def said(text: str) -> str:
    return text.replace(GAP, " ")


def test_a_card_is_called_by_day_way_and_size_not_by_a_name(analysis):
    """The largest of its recordings tells how far, all of them together how long: 1,000 to 1,420 m."""
    (event, *_) = by_event(analysis)
    shown = card(analysis, event)
    assert said(shown.title) == f"11 September 2025, on way {event[0].route}: 90 m to the right for 420 m"
    assert not {"E1", *shown.ids} & set(shown.title.split())
    other_side = (dataclasses.replace(event[0], side="left"), *event[1:])
    assert "90 m to the right" in said(title(analysis, other_side)), "the side is that of the largest too"
    undated = tuple(dataclasses.replace(d, from_time=NAT) for d in event)
    assert said(title(analysis, undated)).startswith(f"On way {event[0].route}: 90 m")
    called = dataclasses.replace(analysis, ways={event[0].route: Way("back, evenings, west", "back")})
    assert said(card(called, event).title).startswith("11 September 2025, on the way back: 90 m")


def test_longer_and_shorter_are_words_not_signs(analysis):
    parts = card(analysis, by_event(analysis)[0]).parts
    ends = [said(part.said).split("; ")[1] for part in parts]
    assert ends == [
        "12 m longer than the centreline.",
        "9.6 m shorter than the centreline.",
        "as long as the centreline.",
    ]
    assert said(parts[0].said).startswith("Up to 40 m to the right, from 1.00 km to 1.40 km along the route;")


def test_grounds_that_all_share_are_said_once(analysis):
    event = by_event(analysis)[0]
    assert card(analysis, event).grounds == "2 of 2 agree."
    other = (*event[:2], dataclasses.replace(event[2], evidence="1 of 2 agrees"))
    shown = card(analysis, other)
    assert shown.grounds == ""
    assert [part.grounds for part in shown.parts] == ["2 of 2 agree.", "2 of 2 agree.", "1 of 2 agrees."]


@pytest.mark.parametrize(
    ("flags", "state"),
    [(("", "", ""), "unflagged"), (("error",) * 3, "error"), (("error", "error", ""), "unflagged"),
     (("intentional", "error", "error"), "unflagged")],
)  # fmt: skip
def test_an_event_is_decided_when_all_of_it_is_decided_alike(analysis, flags, state):
    event = [dataclasses.replace(d, flag=f) for d, f in zip(by_event(analysis)[0], flags, strict=True)]
    assert card(analysis, event).state == state


def test_what_its_recordings_do_not_agree_on_cannot_be_told_of_an_event(analysis):
    event = by_event(analysis)[0]
    assert card(analysis, event).suggestion == "route choice"
    mixed = (*event[:2], dataclasses.replace(event[2], suggestion="receiver error"))
    assert card(analysis, mixed).suggestion == "cannot be told"


def test_a_name_that_was_shown_holds_when_its_deviation_is_gone(analysis):
    gone = dataclasses.replace(analysis.deviations[0], id="gone", event="E9")
    results = (dataclasses.replace(analysis.results[0], vanished=(gone,)), *analysis.results[1:])
    now = dataclasses.replace(analysis, results=results)
    assert meant(now, ["gone", "E9"]) == {"gone": [gone], "E9": [gone]}


def test_the_report_offers_both_decisions_and_says_grounds_once(analysis):
    page = report_page(analysis, ())
    inside = re.search(r'<li class="card [a-z]+" id="e-E1">.*?</li>', page, re.DOTALL)
    assert inside is not None
    text = inside.group()
    assert re.findall(r"gpsq flag \S+ (\S+) (\w+)", text) == [("E1", "intentional"), ("E1", "error")]
    assert text.count("2 of 2 agree") == 1
    assert re.findall(r'id="d-(\w+)"', text) == ["n0", "n1", "n2"]
    assert "3 recordings leave together" in text
    heading = re.search(r"<h3>(.*?)</h3>", text)
    assert heading is not None
    assert said(heading.group(1)).endswith("90 m to the right for 420 m")


def test_the_report_offers_what_is_not_decided_yet_and_to_take_it_back(analysis):
    flagged = tuple(dataclasses.replace(d, flag="intentional" * (d.event == "E1")) for d in analysis.deviations)
    page = report_page(dataclasses.replace(analysis, deviations=flagged), ())
    inside = re.search(r'<li class="card [a-z]+" id="e-E1">.*?</li>', page, re.DOTALL)
    assert inside is not None
    assert re.findall(r"gpsq flag \S+ E1 (\w+)", inside.group()) == ["error", "clear"]
    assert 'class="card intentional"' in inside.group()


def test_the_terminal_lists_by_event(analysis):
    lines = list(terminal.deviation_lines(analysis))
    assert lines[0].split()[:2] == ["event", "deviation"]
    at = next(k for k, line in enumerate(lines) if line.startswith("E1 "))
    assert lines[at].split()[:2] == ["E1", "n0"]
    assert [line.split()[0] for line in lines[at + 1 : at + 3]] == ["n1", "n2"]
    assert len(lines) == 2 + len(analysis.deviations)


def test_a_decision_is_told_with_what_each_name_means(analysis):
    found = meant(analysis, ["n1", "E1"])
    assert terminal.decision_line(found, "error") == "n1, E1 (3 deviations): error"
    assert terminal.decision_line(meant(analysis, ["n1"]), "clear") == "n1: no longer flagged"


@pytest.mark.parametrize(("names", "said"), [
    (["gone"], "found the deviation gone; expected one of E77, E88, a deviation of theirs or its ride"),
    (["E77", "gone", "lost"], "found the deviations gone, lost; expected one of E77, E88, a deviation of theirs or its ride"),
    ([], "found no name; expected one of E77, E88, a deviation of theirs or its ride"),
])  # fmt: skip
def test_names_that_mean_nothing_are_said_with_those_that_do(names, said):
    with pytest.raises(InputError) as refused:
        meant(by_hand(), names)
    assert str(refused.value) == f"gpsq flag: {said}"
    results = tuple(dataclasses.replace(r, deviations=()) for r in by_hand().results)
    with pytest.raises(InputError, match="expected one of none: there are none, a deviation"):
        meant(by_hand(deviations=(), results=results), names)


def test_cards_of_one_written_by_hand():
    first, second = (card(by_hand(), event) for event in by_event(by_hand()))
    assert (first.event, first.state, first.ride, first.route, first.suggestion, first.ids, first.note) == (
        "E77", "unflagged", "R01", "out", "route choice", ("d0a", "d1b"), "",
    )  # fmt: skip
    assert (second.event, second.state, second.suggestion, second.note) == (
        "E88", "error", "receiver error", "under the bridge",
    )  # fmt: skip
    (lone,) = by_event(by_hand(deviations=(dataclasses.replace(by_hand().deviations[0], event=""),)))
    assert card(by_hand(), lone).event == "d0a"
    bare = dataclasses.replace(lone[0], evidence="", from_time=NAT)
    (part,) = card(by_hand(), (bare,)).parts
    assert (part.grounds, part.times, part.device, part.file) == ("", "times unknown", "Amber", "amber/mon.gpx")
    noted = [dataclasses.replace(d, note=n) for d, n in zip(by_hand().deviations, ("a", "b", "a"), strict=True)]
    assert card(by_hand(), noted).note == "a; b"
