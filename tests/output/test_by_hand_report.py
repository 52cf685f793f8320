"""Every cell, sentence and card of report, page and terminal against an analysis in which every figure is another number."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from by_hand import by_hand
from lxml import html

from gpsq.output import terminal
from gpsq.output.report.page import report_page
from gpsq.summary_types import DeviceSummary, Interval, Summaries
from gpsq.web import page_data

FIX = {
    "heads": ["fixed within 10 s", "within 30 s", "within 60 s", "never fixed", "median time to first fix",
              "median with times worked out", "start to usable", "road missed, median", "at worst", "share of the route"],
    "Amber 12": ["1 of 8 | 3 % to 29 %", "3 of 8 | 14 % to 65 %", "5 of 8 | 32 % to 88 %", "2 of 11",
                 "34 s | 18 s to 72 s, from 11 of 13", "28 s | 22 s to 40 s", "47 s | from 11 of 13",
                 "≥ 81 m | 34 m to 123 m, from 10 of 13", "914 m | from 10 of 13", "14 % | from 10 of 13"],
    "Basalt 11": ["4 of 10 | 17 % to 69 %", "7 of 10 | 40 % to 89 %", "9 of 10 | 60 % to 98 %", "0 of 10",
                  "14 s | 6.3 s to 29 s, from 10 of 12", "unknown | not measured", "20 s | from 10 of 12",
                  "55 m | 21 m to 78 m, from 12 of 12", "413 m | from 12 of 12", "9 % | from 12 of 12"],
}  # fmt: skip
STATES = {
    "heads": ["fixed within 10 s", "within 30 s", "within 60 s", "never fixed", "median time to first fix"],
    "hot Basalt 5": ["4 of 5 | 49 % to 94 %", "5 of 5 | 57 % to 100 %", "5 of 5 | 57 % to 100 %", "0 of 5",
                     "7.1 s | 4.1 s to 11 s"],
    "cold Amber 3": ["0 of 3 | 0 % to 43 %", "1 of 3 | 6 % to 79 %", "2 of 3 | 21 % to 94 %", "1 of 3",
                     "43 s | 28 s to 61 s"],
}  # fmt: skip
ERRORS = {
    "heads": ["half of the road within", "two thirds within", "95 % of the road within", "repeatability, standard deviation",
              "receiver errors per 100 km", "undecided deviations", "spikes, off and back within seconds", "root mean square",
              "offset of the body (+ left)", "offset of the ground (+ left of the first way)", "Hausdorff distance, median",
              "Fréchet distance, median",
              "length against centreline"],
    "Amber 12": ["2.3 m | 1.8 m to 3.3 m, from 9 of 12", "4.2 m | 3.7 m to 5.4 m, from 9 of 12",
                 "8.5 m | 7.6 m to 9.9 m, from 9 of 12", "3.9 m | 3.0 m to 4.8 m, from 9 of 12", "22 | 7.3 to 49", "4", "6",
                 "6.6 m | from 9 of 12", "0.8 m", "-1.4 m", "28 m | from 9 of 12", "30 m | from 9 of 12",
                 "1.003 | from 9 of 12"],
    "Basalt 11": ["5.9 m | 4.4 m to 7.2 m, from 8 of 11", "9.0 m | 6.9 m to 11 m, from 8 of 11",
                  "16 m | 14 m to 19 m, from 8 of 11", "7.7 m | 5.8 m to 10 m, from 8 of 11", "5.1 | 0.16 to 28", "0", "0",
                  "12 m | from 8 of 11", "2.4 m", "-0.7 m", "44 m | from 8 of 11", "47 m | from 8 of 11",
                  "0.991 | from 8 of 11"],
}  # fmt: skip
BY_ROUTE = {
    "heads": ["fixed within 10 s", "median time to first fix", "median with times worked out", "road missed, median",
              "half of the road within", "95 % of the road within", "repeatability, standard deviation", "bias (+ left)"],
    "out Amber 10": ["1 of 4 | 7 % to 59 %", "37 s | 19 s to 81 s, from 7 of 9", "unknown | not measured",
                     "92 m | 43 m to 134 m", "2.8 m | 2.0 m to 3.8 m",
                     "9.2 m | 8.1 m to 11 m", "4.1 m | 3.1 m to 5.1 m", "-1.7 m | -2.5 m to -0.9 m"],
    "home Basalt 4": ["3 of 4 | 30 % to 95 %", "9.7 s | from 3 of 4", "15 s | 8.3 s to 25 s",
                      "47 m | 11 m to 66 m", "6.3 m | 4.7 m to 7.8 m",
                      "17 m | 15 m to 20 m", "8.3 m | 6.3 m to 12 m", "2.7 m | 1.3 m to 4.3 m"],
}  # fmt: skip
REFERENCE = {
    "heads": ["trueness: median offset (+ left)", "trueness: RMS of the mean track", "repeatability, standard deviation",
              "accuracy: RMS offset", "95 % of road within, counted", "the same by 1.96 times the RMS"],
    "Amber 5": ["-2.7 m | -3.6 m to -1.8 m", "2.9 m", "1.4 m", "3.3 m", "5.7 m", "6.4 m"],
}  # fmt: skip
RECORDINGS = {
    "heads": ["device", "ride, route", "first fix", "road missed", "half within", "95 % within", "measured over", "remarks"],
    "amber/mon.gpx Monday morning": [
        "Amber", "Mon 4 May 07:00 , out", "fixed after 23 s | start from the start log", "61 m | 51 m to 83 m", "2.4 m",
        "7.6 m", "411 m",
        "2 spikes, the largest 33 m off ; worn on the left",
    ],
    "basalt/mon.gpx (2)": [
        "Basalt", "Mon 4 May 07:00 , out", "fixed after 59 s | start from records before the fix", "at least 179 m", "8.2 m",
        "18 m", "302 m",
        "1 gap, the longest 75 s ; 1 spike, the largest 72 m off ; stopped 219 m before the others of its way end",
    ],
    "amber/tue.gpx": [
        "Amber", "Tue 5 May 07:03 , no route", "never fixed in 10 min 14 s | start from the start log", "unknown", "–", "–",
        "–", "it never found a position",
    ],
    "basalt/wed.gpx": [
        "Basalt", "Wed 6 May 17:20 , home",
        "fixed after about 17 s (12 s to 27 s) | worked out from the road missed; start pressed is not recorded",
        "12 m", "–", "–", "–",
        "only 1 ride on this route: cross-track error needs 3",
    ],
}  # fmt: skip
TABLES = {
    "Time to first fix and what it lost, over all routes; below each figure its interval": (FIX, 2),
    "Time to first fix by the state of the receiver at the start": (STATES, 3),
    "Errors over all routes; below each figure its interval": (ERRORS, 2),
    "The chief figures by route": (BY_ROUTE, 3),
    "Devices against the reference, over all routes that have one; below the offset its interval": (REFERENCE, 2),
    "Every recording found, and why those that are left out of the errors are": (RECORDINGS, 1),
}
ANSWER = [
    "Amber fixes later than Basalt: in the median 20.8 s.",
    "Amber errs less than Basalt: ratio 0.46.",
    "Amber and Basalt cannot be told apart in repeatability: ratio 0.89.",
]
OF_DEVICES = {
    "Amber": "From pressing start to the first position: on 5 of 8 rides within 60 s, twice never. Before it at least 81 m of "
    "road were missed in the median, at worst 914 m. Half of the road it stayed within 2.3 m of the usual line, 95 % within "
    "8.5 m. 5 receiver errors on 23.5 km of road, and 4 deviations of which it cannot be told. Off and back within seconds 6 "
    "times, by hand: errors station by station do not show it.",
    "Basalt": "From pressing start to the first position: on 7 of 10 rides within 30 s. Before it 55 m of road were missed in "
    "the median, at worst 413 m. Half of the road it stayed within 5.9 m of the usual line, 95 % within 16 m. 1 receiver "
    "error on 19.8 km of road. It records every 11 s, and the road between is cut short: its errors read too high. 1 of 2 "
    "recordings stopped 219 m before the end.",
}
FINDINGS = [
    "Route out: its centreline lies 3.2 m to the right of the reference in the median (-4.3 m to -2.1 m, + left), RMS 3.5 m, "
    "over 588 m of road and 6 rides.",
    "Basalt is the best of them with a probability of 83 %. Places, with the range that is sure to 95 %: Basalt 1 (1 to 2), "
    "Amber 2 (1 to 2); 8 rides.",
    "Amber scatters more on out than on home, ratio 1.46",
    "Route out, place 1: 203 m to 306 m along it, spread 8.7 m, more than chance along the road makes",
    "Route out, place 2: 515 m to 621 m along it, spread 13 m, more than chance along the road makes",
    "Route home: no place stands out by more than chance in 3 rides; a stretch of 143 m with three times the error would most "
    "likely have been seen.",
    "Amber lies 2.3 m west (1.1 m to 3.6 m) and 4.2 m north (3.1 m to 5.7 m) of Basalt, 9 rides.",
    "Amber: standard deviation 1.8 m (1.4 m to 2.1 m); 6 rides",
    "Basalt: negative: too few rides; 7 rides",
    *ANSWER,
    "Amber: error grows with hdop (rank correlation 0.37, 0.12 to 0.61, median of 6 recordings): RMS 2.7 m at hdop up to 1, "
    "3.8 m at 1 to 2",
    "Basalt: error cannot be told to go with satellites (rank correlation -0.28, too few for an interval, median of 4 "
    "recordings): RMS 5.2 m at satellites over 12",
    "Amber: recorded +1.3 %, of which noise explains +0.7 %",
]
CARDS = {
    "e-E77": [
        "4 May 2026, on way out: 41 m to the left for 312 m", "No decision yet", "Suggested: route choice.", "Ride R01",
        "2 recordings leave together", "1 of 1 other devices on the ride leave the line with it.",
        "gpsq flag week E77 intentional", "gpsq flag week E77 error", "Amber d0a: route choice",
        "Up to 41 m to the left, from 203 m to 515 m along the route; 18 m longer than the centreline.",
        "07:00:35 to 07:00:52 (UTC)", "amber/mon.gpx", "Basalt d1b: route choice",
        "Up to 38 m to the left, from 306 m to 410 m along the route; 2.4 m shorter than the centreline.",
        "07:01:22 to 07:02:37 (UTC)", "basalt/mon.gpx (track 2)",
    ],
    "e-E88": [
        "4 May 2026, on way out: 53 m to the right for 211 m", "Receiver error", "Suggested: receiver error.", "Ride R01",
        "It jumps, 44 m/s where its fast riding is 6 m/s.", "gpsq flag week E88 intentional", "gpsq flag week E88 clear",
        "Basalt d1c, flagged error",
        "Up to 53 m to the right, from 410 m to 621 m along the route; 7.8 m longer than the centreline.",
        "07:02:37 to 07:02:59 (UTC)", "basalt/mon.gpx (track 2)", "Note: under the bridge",
    ],
}  # fmt: skip
TERMINAL = """\
Time to first fix
device  rides  fixed in 10 s  in 30 s  in 60 s  never    median time to first fix             road missed, median     at worst
------  -----  -------------  -------  -------  -------  -----------------------------------  ----------------------  ---------------------
Amber   12     1 of 8         3 of 8   5 of 8   2 of 11  34 s (18 s to 72 s; from 11 of 13)   ≥ 81 m (from 10 of 13)  914 m (from 10 of 13)
Basalt  11     4 of 10        7 of 10  9 of 10  0 of 10  14 s (6.3 s to 29 s; from 10 of 12)  55 m                    413 m

Errors on the road, after settling
device  rides    half of the road within  95 % within             repeatability           errors per 100 km
------  -------  -----------------------  ----------------------  ----------------------  -----------------
Amber   9 of 12  2.3 m (1.8 m to 3.3 m)   8.5 m (7.6 m to 9.9 m)  3.9 m (3.0 m to 4.8 m)  22 (7.3 to 49)
Basalt  8 of 11  5.9 m (4.4 m to 7.2 m)   16 m (14 m to 19 m)     7.7 m (5.8 m to 10 m)   5.1 (0.16 to 28)
Amber: off and back within seconds 6 times, by hand: errors station by station do not show it
Basalt: it records every 11 s, and the road between is cut short: its errors read too high
Basalt: 1 of 2 recordings stopped 219 m before the end

3 deviations from the routes, 2 of them without your decision:
event  deviation  recording       route  from   to     peak        suggestion      flag
-----  ---------  --------------  -----  -----  -----  ----------  --------------  -----
E77    d0a        amber/mon.gpx   out    203 m  515 m  41 m left   route choice    —
       d1b        basalt/mon.gpx  out    306 m  410 m  38 m left   route choice    —
E88    d1c        basalt/mon.gpx  out    410 m  621 m  53 m right  receiver error  error"""  # noqa: E501


def plain(text: str) -> str:
    """Return text with one kind of space, minus sign and per cent sign apart from its figure."""
    return " ".join(text.replace("\N{MINUS SIGN}", "-").split())


@pytest.fixture(scope="module")
def report() -> Any:
    return html.fromstring(report_page(by_hand(), ()))


def shown(cell: Any) -> str:
    """Return a cell as it is read: its parts apart, what stands below a figure behind a bar."""
    for below in cell.xpath('.//*[contains(@class, "bounds")]'):
        below.text = f" | {below.text or ''}"
    return plain(" ".join(cell.itertext()))


def compare(where: str, expected: dict[str, list[str]], heads: list[str], rows: dict[str, list[str]]) -> None:
    unknown = [head for head in heads if head not in expected["heads"]]
    assert not unknown, (
        f"{where} shows {', '.join(unknown)}, and nobody wrote what must stand there: give it a number of its own in "
        "tests/support/by_hand_figures.py, and write its cells here"
    )
    assert heads == expected["heads"], where
    assert list(rows) == [key for key in expected if key != "heads"], where
    for key, cells in rows.items():
        assert dict(zip(heads, cells, strict=True)) == dict(zip(heads, expected[key], strict=True)), f"{where}, {key}"


@pytest.mark.parametrize("caption", TABLES)
def test_every_cell_of_the_reports_tables(report: Any, caption: str) -> None:
    expected, named = TABLES[caption]
    (table,) = [t for t in report.iter("table") if t.findtext("caption") == caption]
    first, *others = table.iter("tr")
    rows = {}
    for row in others:
        cells = [shown(cell) for cell in row]
        rows[" ".join(cells[:named])] = cells[named:]
    compare(caption, expected, [shown(head) for head in first][named:], rows)


def test_every_table_of_the_report_is_compared_here(report: Any) -> None:
    assert {t.findtext("caption") for t in report.iter("table")} - {"Settings", "Files read"} == TABLES.keys()


def test_every_finding_of_the_report(report: Any) -> None:
    said = [plain(found.text_content()) for found in report.xpath("//*[@data-finding]")]
    assert said == [*ANSWER, *(f"{name} {text}" for name, text in OF_DEVICES.items()), *FINDINGS]


def test_what_the_report_counts_and_lists(report: Any) -> None:
    assert plain(report.xpath('//p[@class="counts"]')[0].text_content()) == (
        "5 recordings by 2 devices on 3 rides over 2 routes, 4–6 May 2026 (UTC); 1 could not be read."
    )
    assert [plain(found.text_content()) for found in report.xpath('//section[@id="recordings"]//li')] == [
        "amber/thu.gpx: found a web page", "Two clocks were set by hand.", "no fix: 4 points in 1 recording",
        "no position: 17 points in 1 recording", "null island: 1 point in 1 recording",
        "outlier jump: 2 points in 1 recording", "unparseable coordinate: 2 points in 1 recording",
    ]  # fmt: skip
    text = plain(report.text_content())
    assert "2 deviations wait for your decision." in text
    assert "The line in survey.gpx shows" in text
    assert "Checked for Amber: holds: near." in text


@pytest.mark.parametrize(("undecided", "said"), [(3, "3 deviations wait for"), (1, "1 deviation waits for"), (0, "")])
def test_the_report_counts_deviations_that_wait_and_not_events(undecided: int, said: str) -> None:
    """Of the three, two are one event."""
    found = [replace(d, flag="" if k < undecided else "error") for k, d in enumerate(by_hand().deviations)]
    text = plain(html.fromstring(report_page(by_hand(deviations=tuple(found)), ())).text_content())
    assert f"{said} your decision." in text if said else "your decision." not in text


def test_every_card_of_the_report(report: Any) -> None:
    cards = {
        card.get("id"): plain(" ".join(card.itertext())) for card in report.xpath('//li[contains(@class, "card")]')
    }
    assert list(cards) == list(CARDS)
    for event, parts in CARDS.items():
        places = [cards[event].replace(" :", ":").replace(" ,", ",").find(part) for part in parts]
        assert -1 not in places, [part for part, place in zip(parts, places, strict=True) if place < 0]
        assert places == sorted(places)


def test_every_line_of_the_terminal() -> None:
    assert "\n".join(terminal.lines(by_hand())) == TERMINAL


@pytest.mark.parametrize(("count", "said"), [
    (0, "No deviations from the routes."), (1, "1 deviation from the routes, 1 of them without your decision:"),
    (2, "2 deviations from the routes, 2 of them without your decision:"),
])  # fmt: skip
def test_the_terminal_counts_deviations(count: int, said: str) -> None:
    found = by_hand(deviations=by_hand().deviations[:count])
    assert [line for line in terminal.lines(found) if "from the routes" in line] == [said]
    rows = list(terminal.deviation_lines(found))
    assert len(rows) == (2 + count if count else 1)


def test_the_terminal_tells_tracks_of_one_file_apart() -> None:
    found = by_hand()
    one_file = [replace(t, file="all.gpx", track=4 - k) for k, t in enumerate(found.traces)]
    rows = list(terminal.deviation_lines(replace(found, traces=tuple(one_file))))
    assert [" ".join(row.split()[:4]) for row in rows[2:]] == [
        "E77 d0a all.gpx (4)",
        "d1b all.gpx (3) out",
        "E88 d1c all.gpx (3)",
    ]


def test_times_worked_out_stand_on_the_terminal_where_a_device_has_no_other() -> None:
    known, unknown = Interval(20.0, 10.0, 30.0), Interval(float("nan"))
    both = ((known, unknown, True), (known, known, False), (unknown, known, False), (unknown, unknown, False))
    for worked_out, measured, alone in both:
        figures = {"ttff_estimate_median_s": worked_out, "ttff_median_s": measured}
        devices = (DeviceSummary("Amber", "", 3, figures),)
        found = by_hand(summaries=Summaries(devices=devices))
        assert ("worked out" in "".join(terminal.lines(found))) is alone


def test_the_terminal_says_what_was_decided() -> None:
    first, second, third = by_hand().deviations
    chosen = {"E77": [first, second], "d1c": [third], "E88": [third]}
    assert terminal.decision_line(chosen, "error") == "E77 (2 deviations), d1c, E88 (1 deviation): error"
    assert terminal.decision_line({"d1c": [third]}, "clear") == "d1c: no longer flagged"


@pytest.mark.parametrize(("part", "expected"), [("fix", FIX), ("errors", ERRORS)])
def test_every_cell_of_the_pages_tables(part: str, expected: dict[str, list[str]]) -> None:
    table = page_data.of_analysis(by_hand(), {})[part]
    rows = {
        f"{name} {rides}": [plain(cell.value + (f" | {cell.bounds}" if cell.bounds else "")) for cell in cells]
        for name, rides, cells in table["rows"]
    }
    compare(f"the page's table of {part}", expected, [plain(head) for head in table["heads"]], rows)


def test_every_sentence_of_the_page() -> None:
    data = page_data.of_analysis(by_hand(), {})
    assert [plain(text) for text in data["answer"]] == ANSWER
    assert {name: plain(text) for name, text in data["said"]} == OF_DEVICES
    assert (data["events"], data["deviations"], data["undecided"]) == (2, 3, 2)
    told = [(r["ride"], plain(r["first_fix"]), r["fixed_at"], r["logged"], r["remarks"]) for r in data["recordings"]]
    assert told == [
        ("Mon 4 May 07:00", "fixed after 23 s, 61 m missed", "07:00:30 (UTC)", "07:00:07Z", ["worn on the left"]),
        ("Mon 4 May 07:00", "fixed after 59 s, at least 179 m missed", "07:01:11.250 (UTC)", "",
         ["stopped 219\N{NO-BREAK SPACE}m before the others of its way end"]),
        ("Tue 5 May 07:03", "never fixed in 10 min 14 s", "", "07:03:00Z", ["it never found a position"]),
        ("Wed 6 May 17:20", "fixed after about 17 s (12 s to 27 s), 12 m missed", "17:20:00 (UTC)", "",
         ["only 1 ride on this route: cross-track error needs 3"]),
    ]  # fmt: skip
    assert data["lines"][1] == {"name": "home", "line": [[47.0007, 12.008], [47.0006, 12.0054], [47.0008, 12.0027]]}


def test_where_no_deviation_was_found_band_and_length_are_said() -> None:
    text = plain(html.fromstring(report_page(by_hand(deviations=()), ())).text_content())
    assert "no recording stays off its centreline by more than 30 m for 60 m or more" in text
