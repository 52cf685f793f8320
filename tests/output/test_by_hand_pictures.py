"""What map and charts draw, read back from the drawing by its own axes, against an analysis written by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from by_hand import PLACES, PLANE, by_hand
from lxml import etree

from gpsq.model import NAT
from gpsq.output.charts import all_charts
from gpsq.output.map.data import map_data, script_json
from gpsq.output.overlay.rides import _left_road
from gpsq.output.report.cards import by_event
from gpsq.output.report.sketches import of_event

AMBER, BASALT, INK, PAPER = "#0072B2", "#D55E00", "#1c2428", "#fffdf8"
AMBER_MON, BASALT_MON, BASALT_WED = (PLACES[name] for name in ("amber mon", "basalt mon", "basalt wed"))


# ---- the map ----
@pytest.fixture(scope="module")
def data() -> dict[str, Any]:
    return map_data(by_hand())


def places(steps: list[int]) -> list[tuple[float, float]]:
    """Return longitudes and latitudes of steps in millionths of a degree, latitude first."""
    lat_lon = np.cumsum(np.array(steps).reshape(-1, 2), axis=0) / 1e6
    return [(float(lon), float(lat)) for lat, lon in lat_lon]


def plain(value: Any) -> Any:
    return value.replace("\N{NO-BREAK SPACE}", " ") if isinstance(value, str) else value


def test_every_word_and_mark_of_the_maps_recordings(data: dict[str, Any]) -> None:
    names = ("file", "name", "device", "route", "ride", "status", "errors", "fix", "flag", "missed", "points", "day")
    assert [tuple(plain(r[name]) for name in names) for r in data["recordings"]] == [
        ("amber/mon.gpx", "Monday morning", 0, 0, 0, "scored", "cross-track error 3.3 m RMS over 411 m",
         "fixed after 23 s, 61 m missed", "23 s", 61.3, 6, "Mon"),
        ("basalt/mon.gpx (2)", "", 1, 0, 0, "scored", "cross-track error 9.4 m RMS over 302 m",
         "fixed after 59 s, at least 179 m missed", "59 s", 179.4, 5, "Mon"),
        ("amber/tue.gpx", "", 0, -1, 1, "not scored: it never found a position", "", "never fixed in 10 min 14 s",
         "never fixed", None, 0, "Tue"),
        ("basalt/wed.gpx", "", 1, 1, 2, "not scored: only 1 ride on this route: cross-track error needs 3", "",
         "fixed after about 17 s (12 s to 27 s), 12 m missed", "≈ 17 s", 12.2, 3, "Wed"),
    ]  # fmt: skip


def test_what_the_map_says_of_lost_and_unridden_road(data: dict[str, Any]) -> None:
    assert [(plain(r["lost"]), plain(r["stopped"]), places(r["last"])) for r in data["recordings"]] == [
        ("61 m missed", "", []), ("at least 179 m missed", "stopped 219 m before the end", BASALT_MON[-1:]), ("", "", []),
        ("12 m missed", "", []),
    ]  # fmt: skip
    # one that never fixed has no last place, whatever is said of its end
    results = [replace(r, ended_early_m=50.0) for r in by_hand().results]
    early = map_data(by_hand(results=tuple(results)))["recordings"]
    assert [bool(r["stopped"]) for r in early] == [bool(r["last"]) for r in early] == [True, True, False, True]


def test_the_map_of_a_route_without_a_line_and_rides_in_order_of_time() -> None:
    found = by_hand()
    lineless = replace(found.routes[0], centreline=None)
    rides = [replace(r, ride=name) for r, name in zip(found.results, ("R9", "R9", "R5", "R1"), strict=True)]
    drawn = map_data(replace(found, routes=(lineless, found.routes[1]), results=tuple(rides)))
    assert [(r["line"] == [], r["band"] == [], r["length"] == "", r["kilometres"]) for r in drawn["routes"]] == [
        (True, True, True, []), (False, False, False, []),
    ]  # fmt: skip
    assert [r["name"] for r in drawn["rides"]] == ["Mon 4 May 07:00", "Tue 5 May 07:03", "Wed 6 May 17:20"]
    undated = tuple(replace(t, first_record=NAT, time=t.time - np.timedelta64(60 * 365, "D")) for t in found.traces[:1])
    unknown = [replace(rides[0], first_fix=replace(rides[0].first_fix, started=NAT), ride="R0"), *rides[1:]]
    drawn = map_data(replace(found, traces=(*undated, *found.traces[1:]), results=tuple(unknown)))
    assert [r["name"] for r in drawn["rides"]][-1] == "R0"


def test_kilometres_are_counted_from_where_the_line_begins() -> None:
    """A line of 2.5 km whose first station is 250 m: its kilometres are 1,000 and 2,000 m from its beginning."""
    found = by_hand()
    assert found.routes[0].centreline is not None
    east_m = np.linspace(0.0, 2500.0, 7)
    line = replace(
        found.routes[0].centreline, xy_m=np.column_stack([east_m, np.zeros(7)]), along_m=east_m + 250.0
    )  # fmt: skip
    drawn = map_data(replace(found, routes=(replace(found.routes[0], centreline=line), found.routes[1])))
    marks = PLANE.to_metres(*np.array(places(drawn["routes"][0]["kilometres"])).T)
    assert marks == pytest.approx(np.array([[1000.0, 0.0], [2000.0, 0.0]]), abs=0.2)
    assert plain(drawn["routes"][0]["length"]) == "2.50 km"


def test_the_band_lies_as_far_to_either_side_as_recordings_scatter() -> None:
    """A line to the east that spreads 4 m at its beginning and 8 m at its end: its band is a trapezium about it."""
    found = by_hand()
    assert found.routes[0].centreline is not None
    east_m = np.linspace(0.0, 2500.0, 7)
    line = replace(
        found.routes[0].centreline, xy_m=np.column_stack([east_m, np.zeros(7)]), along_m=east_m,
        spread_m=np.linspace(4.0, 8.0, 7),
    )  # fmt: skip
    drawn = map_data(replace(found, routes=(replace(found.routes[0], centreline=line), found.routes[1])))["routes"][0]
    band, middle = (PLANE.to_metres(*np.array(places(drawn[name])).T) for name in ("band", "line"))
    assert band == pytest.approx(np.array([[0, 4], [2500, 8], [2500, -8], [0, -4]]), abs=0.2)
    assert middle == pytest.approx(np.array([[0, 0], [2500, 0]]), abs=0.2)


def test_recordings_without_a_ride_are_called_so_and_come_last() -> None:
    found = by_hand()
    drawn = map_data(replace(found, results=(replace(found.results[0], ride=""), *found.results[1:])))
    assert [plain(r["label"]) for r in drawn["rides"]] == [
        "Mon 4 May 07:00, out, 59 s", "Tue 5 May 07:03, never fixed", "Wed 6 May 17:20, home, ≈ 17 s",
        "recordings without a ride, out, 23 s",
    ]  # fmt: skip
    assert [r["ride"] for r in drawn["recordings"]] == [3, 0, 1, 2]


def test_what_the_map_draws_of_each_recording(data: dict[str, Any]) -> None:
    """First fix, unbroken parts, and the head up to its station: Amber's lies at 162.27 m, 61.27 m before it at 101 m."""
    amber, basalt, lost, home = data["recordings"]
    assert [places(r["at"]) for r in (amber, basalt, home)] == [AMBER_MON[:1], BASALT_MON[:1], BASALT_WED[:1]]
    assert (lost["at"], lost["parts"], lost["head"]) == ([], [], [])
    assert [places(part) for part in amber["parts"]] == [AMBER_MON]
    assert [places(part) for part in basalt["parts"]] == [BASALT_MON[:2], BASALT_MON[2:]]
    # 61.27 m on from 101 m is 0.6007 of the way to the station at 203 m; 179.43 m is 0.7689 of it
    assert np.allclose(places(amber["head"]), [(12.0013, 47.0002), (12.002081, 47.00014)], rtol=0, atol=2e-6)
    assert np.allclose(
        places(basalt["head"]), [(12.0, 47.0), (12.0013, 47.0002), (12.0023, 47.000123)], rtol=0, atol=2e-6
    )
    assert [r["play"] and (r["play"]["from"], r["play"]["known"]) for r in data["recordings"]] == [
        (23.0, True), (58.8, True), None, (0.0, False),
    ]  # fmt: skip
    assert places(amber["play"]["at"])[-1] == AMBER_MON[-1]


def test_what_a_bound_looks_like_where_no_time_is_known() -> None:
    """A lower bound of the metres missed, and of the seconds, has its sign on the flag."""
    from gpsq.model import FirstFix
    from gpsq.output.drawing.flags import flag_text

    fixes = [
        FirstFix("none", missed_m=65.0, missed_is_minimum=True), FirstFix("none", missed_m=65.0),
        FirstFix("none", at_least_s=65.0), FirstFix("log", seconds=65.0, missed_m=9.0, missed_is_minimum=True),
    ]  # fmt: skip
    assert [plain(flag_text(fix)) for fix in fixes] == ["≥ 65 m", "65 m", "≥ 65 s", "65 s"]


def test_the_maps_lines_rides_and_places(data: dict[str, Any]) -> None:
    assert [(r["name"], r["rides"], plain(r["length"]), r["reason"]) for r in data["routes"]] == [
        ("out", 3, "621 m", ""), ("home", 1, "408 m", "only 1 ride on this route: cross-track error needs 3"),
    ]  # fmt: skip
    assert [places(r["line"]) for r in data["routes"]] == [PLACES["out"], PLACES["home"]]
    assert [(plain(r["label"]), r["route"]) for r in data["rides"]] == [
        ("Mon 4 May 07:00, out, 23–59 s", 0), ("Tue 5 May 07:03, never fixed", -1), ("Wed 6 May 17:20, home, ≈ 17 s", 1),
    ]  # fmt: skip
    assert [(d["name"], d["colour"], d["mark"]) for d in data["devices"]] == [
        ("Amber", AMBER, "disc"), ("Basalt", BASALT, "triangle"),
    ]  # fmt: skip
    assert [(spot["route"], plain(spot["text"])) for spot in data["hotspots"]] == [
        (0, "from 203 m to 306 m along the route: spread 8.7 m"), (0, "from 515 m to 621 m along the route: spread 13 m"),
    ]  # fmt: skip
    assert (data["points"], plain(data["tolerance"])) == (14, "0.5 m")


def test_what_the_map_draws_where_recordings_scatter(data: dict[str, Any]) -> None:
    """A block from 203 m to 306 m, a straight piece of the line, twice its spread of 8.7 m to either side."""
    block = PLANE.to_metres(*np.array(places(data["hotspots"][0]["outline"])).T)
    assert np.hypot(*(block[0] - block[-1])) == pytest.approx(4 * 8.7, abs=0.3)
    ends = PLANE.to_metres(*np.array(PLACES["out"][2:4]).T)
    assert np.allclose((block[:2] + block[:1:-1]) / 2, ends, rtol=0, atol=0.3)


def test_the_map_draws_the_whole_way_of_one_that_never_fixed() -> None:
    """It missed all of it, though no place of its own is known."""
    found = by_hand()
    lost = replace(found.results[2], route="out")
    lost = replace(lost, first_fix=replace(lost.first_fix, missed_m=621.0, missed_share=1.0, missed_is_minimum=True))
    drawn = map_data(replace(found, results=(*found.results[:2], lost, found.results[3])))["recordings"][2]
    assert np.allclose(places(drawn["head"]), PLACES["out"], rtol=0, atol=2e-6)
    assert (drawn["at"], plain(drawn["lost"])) == ([], "at least 621 m missed")


def test_the_first_fixes_of_a_ride_are_said_from_the_first_to_the_last() -> None:
    found = by_hand()
    later, sooner = (
        replace(r, first_fix=replace(r.first_fix, seconds=s))
        for r, s in zip(found.results, (58.75, 23.125), strict=False)
    )
    drawn = map_data(replace(found, results=(later, sooner, *found.results[2:])))
    assert plain(drawn["rides"][0]["label"]) == "Mon 4 May 07:00, out, 23–59 s"


def test_what_the_map_says_and_draws_of_deviations(data: dict[str, Any]) -> None:
    names = ("event", "ids", "recordings", "state", "text", "size", "suggestion", "evidence", "note")
    first, second = data["deviations"]
    assert [plain(first[name]) for name in names] == [
        "E77", ["d0a", "d1b"], [0, 1], "unflagged", "41 m to the left, from 203 m to 515 m along the route", "41 m",
        "route choice", "1 of 1 other devices on the ride leave the line with it", "",
    ]  # fmt: skip
    assert [plain(second[name]) for name in names] == [
        "E88", ["d1c"], [1], "error", "53 m to the right, from 410 m to 621 m along the route", "53 m", "receiver error",
        "it jumps, 44 m/s where its fast riding is 6 m/s", "under the bridge",
    ]  # fmt: skip
    # Basalt's gap lies between the two fixes of its own: nothing is drawn over it
    assert [places(part) for part in first["parts"]] == [AMBER_MON[1:5], BASALT_MON[1:2], BASALT_MON[2:3]]
    assert [places(part) for part in second["parts"]] == [BASALT_MON[2:5]]


@pytest.mark.parametrize(
    ("flags", "suggestions", "shown"),
    [
        (("error", "error"), ("receiver error", "receiver error"), ("error", "receiver error")),
        (("error", ""), ("receiver error", "route choice"), ("unflagged", "")),
        (("", "intentional"), ("route choice", "route choice"), ("unflagged", "route choice")),
    ],
)
def test_an_event_is_decided_once_all_its_deviations_are(flags: Any, suggestions: Any, shown: Any) -> None:
    """Amber's, the larger, and Basalt's."""
    found = by_hand()
    own = tuple(
        replace(d, flag=flag, suggestion=suggestion)
        for d, flag, suggestion in zip(found.deviations, flags, suggestions, strict=False)
    )
    (drawn,) = map_data(replace(found, deviations=own))["deviations"]
    assert (drawn["state"], drawn["suggestion"]) == shown


def test_a_ride_goes_the_way_of_any_of_its_recordings() -> None:
    found = by_hand()
    drawn = map_data(replace(found, results=(replace(found.results[0], route=""), *found.results[1:])))
    assert (drawn["rides"][0]["route"], plain(drawn["rides"][0]["label"])) == (0, "Mon 4 May 07:00, out, 23–59 s")
    assert [r["route"] for r in drawn["recordings"]] == [-1, 0, -1, 1]


def test_a_ride_without_a_day_is_called_by_its_name_cut_where_it_is_long() -> None:
    found = by_hand()
    trace = replace(found.traces[3], time=found.traces[3].time - np.timedelta64(60 * 365, "D"))
    fix = replace(found.results[3].first_fix, first_fix=NAT)
    results = (*found.results[:3], replace(found.results[3], ride="home over the hill", first_fix=fix))
    drawn = map_data(replace(found, traces=(*found.traces[:3], trace), results=results))
    assert drawn["recordings"][3]["day"] == "home ov…e hill"


def test_of_more_than_two_hundred_recordings_fewer_places_are_sent_to_be_played(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for most, count in ((2, 2), (4, 6)):
        monkeypatch.setattr("gpsq.output.drawing.timing.MANY", most)
        monkeypatch.setattr("gpsq.output.drawing.timing.MOST_STEPS_OF_MANY", 2)
        assert len(places(map_data(by_hand())["recordings"][0]["play"]["at"])) == count


def test_what_a_page_or_a_site_generator_takes_for_its_own_is_spelled_out() -> None:
    said = {"a": "<b>&$`\u2028\u2029", "c": ["{{d}}", "{%", "{#", "{ "]}
    assert script_json(said) == (
        r'{"a":"\u003cb\u003e\u0026\u0024\u0060\u2028\u2029","c":["{\u007bd}}","{\u0025","{\u0023","{ "]}'
    )


def test_an_event_reaches_as_far_as_any_of_its_deviations_and_has_all_their_notes() -> None:
    found = by_hand()
    first, second, _ = found.deviations
    own = (replace(first, note="a bridge"), replace(second, from_m=150.0, to_m=600.0, note="rain"))
    (drawn,) = map_data(replace(found, deviations=own))["deviations"]
    assert plain(drawn["text"]) == "41 m to the left, from 150 m to 600 m along the route"
    assert drawn["note"] == "a bridge; rain"
    own = (replace(first, note="rain"), replace(second, note="rain"))
    assert map_data(replace(found, deviations=own))["deviations"][0]["note"] == "rain"


def test_a_long_name_of_a_way_is_cut_where_rides_are_picked() -> None:
    found, long = by_hand(), "over the long bridge to the mill"
    routes = (replace(found.routes[0], route=replace(found.routes[0].route, name=long)), found.routes[1])
    results = tuple(replace(r, route=long) if r.route == "out" else r for r in found.results)
    drawn = map_data(replace(found, routes=routes, results=results))
    assert plain(drawn["rides"][0]["label"]) == "Mon 4 May 07:00, over the lon…to the mill, 23–59 s"


def test_the_map_says_how_far_its_lines_are_thinned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where they would have too many points that is further, and no fix lies further off than is said."""
    from shapely import LineString, MultiLineString

    monkeypatch.setattr("gpsq.output.map.data.DRAW_BUDGET", 9)
    drawn = map_data(by_hand())
    said_m = float(plain(drawn["tolerance"]).removesuffix(" m"))
    lines = [[places(part) for part in r["parts"]] for r in drawn["recordings"]]
    assert drawn["drawn"] == sum(len(part) for own in lines for part in own) <= 9
    off_m = []
    for own, fixes in zip((own for own in lines if own), (AMBER_MON, BASALT_MON, BASALT_WED), strict=True):
        shown = MultiLineString([LineString(PLANE.to_metres(*np.array(part).T)) for part in own])
        off_m += [shown.distance(point) for point in map(shapely_point, fixes)]
    assert 0.5 < max(off_m) <= said_m + 0.1


def shapely_point(place: tuple[float, float]) -> Any:
    from shapely import Point

    return Point(PLANE.to_metres(*np.array([place]).T)[0])


def test_no_picture_draws_a_deviation_over_a_gap() -> None:
    analysis = by_hand()
    (largest, first) = _left_road(analysis, analysis.routes[0], ("Amber", "Basalt"), {"R01": "Mon"})
    assert (largest.peak_m, first.peak_m, first.devices) == (52.83, 41.37, ("Amber", "Basalt"))
    shown = [np.column_stack(PLANE.to_degrees(piece)).round(6).tolist() for piece in first.places_m]
    assert shown == [[list(place) for place in part] for part in (AMBER_MON[1:5], BASALT_MON[1:2], BASALT_MON[2:3])]


# ---- the charts ----
class Picture:
    """The words and shapes of a chart, each with its place in points, y downwards."""

    def __init__(self, svg: str) -> None:
        root = etree.fromstring(svg.encode())
        svg_name = "{http://www.w3.org/2000/svg}"
        self.words = [
            (float(t.get("x")), float(t.get("y")), plain("".join(t.itertext())).replace("\N{MINUS SIGN}", "-"))
            for t in root.iter(f"{svg_name}text")
        ]
        self.shapes = [
            (np.array(re.findall(r"-?[\d.]+", p.get("d")), float).reshape(-1, 2), _style(p.get("style")))
            for p in root.iter(f"{svg_name}path")
            if not re.search("[HV]", p.get("d"))
        ]

    def of(self, **style: str) -> list[np.ndarray]:
        """Return the shapes that have at least this style."""
        return [line for line, own in self.shapes if all(own.get(k.replace("_", "-")) == v for k, v in style.items())]

    def axis(self, values: dict[str, float], axis: int = 0, beside: Any = lambda x: True) -> Any:
        """Return what turns a place into a value: straight between two ticks, by the words beside them."""
        (a, b), (low, high) = zip(
            *((value, next(w[axis] for w in self.words if w[2] == text and beside(w[0]))) for text, value in values.items()),
            strict=True,
        )  # fmt: skip
        lift = 3.24 if axis else 0.0  # a word stands on its base line, a third of its height below its tick
        return lambda place: a + (np.asarray(place) + lift - low) / (high - low) * (b - a)


def _style(text: str) -> dict[str, str]:
    return dict(part.split(":", 1) for part in text.split(";"))


def middle(shape: np.ndarray) -> np.ndarray:
    return (shape.min(axis=0) + shape.max(axis=0)) / 2


@pytest.fixture(scope="module")
def pictures() -> dict[str, Picture]:
    return {chart.name: Picture(chart.wide_svg) for chart in all_charts.figures(by_hand())}


def test_bars_of_the_road_missed_are_as_long_as_it(pictures: dict[str, Picture]) -> None:
    found = pictures["missed"]
    left, right = (lambda x: x < 360), (lambda x: x > 360)
    out, home = found.axis({"start": 0.0, "50": 50.0}, 0, left), found.axis({"start": 0.0, "10": 10.0}, 0, right)
    bars = {
        colour: [s for s in found.of(fill=colour) if len(s) == 4 and np.ptp(s[:, 0]) > 10] for colour in (AMBER, BASALT)
    }
    assert [out(s[:, 0]).max() for s in bars[AMBER]] == pytest.approx([61.27], abs=0.05)
    assert out(bars[BASALT][0][:, 0]).max() == pytest.approx(179.43, abs=0.05)
    assert home(bars[BASALT][1][:, 0]).max() == pytest.approx(12.19, abs=0.01)
    assert all(out(s[:, 0]).min() == pytest.approx(0.0, abs=0.05) for s in (*bars[AMBER], bars[BASALT][0]))
    words = [word for _, _, word in found.words]
    assert {"61 m", "≥ 179 m", "12 m", "Route out, 621 m", "Route home, 408 m"} <= set(words)


def test_marks_medians_and_intervals_of_the_time_to_first_fix(pictures: dict[str, Picture]) -> None:
    found = pictures["first-fix"]
    seconds = found.axis({"2 s": np.log(2.0), "10 min": np.log(600.0)})

    def at(shapes: list[np.ndarray]) -> list[float]:
        return sorted(float(np.exp(seconds(middle(s)[0]))) for s in shapes)

    assert at([s for s in found.of(fill=AMBER) if len(s) > 10]) == pytest.approx([23.125], rel=2e-3)
    assert at([s for s in found.of(fill=BASALT) if len(s) == 3]) == pytest.approx([58.75], rel=2e-3)
    # the one that never fixed is hollow, and a line leads on from it
    assert at([s for s in found.of(fill=PAPER, stroke=AMBER) if len(s) > 10]) == pytest.approx([613.75], rel=2e-3)
    assert [float(np.exp(seconds(s[0, 0]))) for s in found.of(stroke_dasharray="1.5 2")] == pytest.approx(
        [613.75], rel=2e-3
    )
    medians = [s for s in found.of(stroke=INK) if np.ptp(s[:, 0]) == 0]
    assert at(medians) == pytest.approx([9.7, 36.76], rel=2e-3)
    (interval,) = found.of(fill=INK, opacity="0.1")
    assert np.exp(seconds([interval[:, 0].min(), interval[:, 0].max()])) == pytest.approx([19.26, 81.26], rel=2e-3)
    words = {word for _, _, word in found.words}
    assert {"Mon 23 s", "Mon 59 s", "Tue ≥ 10 min 14 s", "1 of 1 in 30 s, median 37 s"} <= words
    assert not any("more row" in word for picture in pictures.values() for *_, word in picture.words)  # all have room


def test_a_time_worked_out_is_a_bar_with_its_own_mark_within(pictures: dict[str, Picture]) -> None:
    """17.3 s, from 11.7 to 26.9 s; no median of it is drawn among the measured ones."""
    found = pictures["first-fix"]
    seconds = found.axis({"2 s": np.log(2.0), "10 min": np.log(600.0)})
    (bar,) = found.of(fill=BASALT, opacity="0.35")
    assert np.exp(seconds([bar[:, 0].min(), bar[:, 0].max()])) == pytest.approx([11.7, 26.9], rel=3e-3)
    (mark,) = [s for s in found.of(stroke=BASALT, stroke_width="2") if np.ptp(s[:, 0]) == 0]
    assert np.exp(seconds(mark[0, 0])) == pytest.approx(17.3, rel=3e-3)


def test_where_rows_are_few_a_device_has_its_median_and_whether_it_is_a_bound() -> None:
    """The square sheet has a row for each device."""
    (chart,) = [chart for chart in all_charts.figures(by_hand()) if chart.name == "missed"]
    words = [word for *_, word in Picture(chart.square_svg).words]
    assert words[words.index("Amber") + 1] == "61 m"
    assert words[words.index("Basalt") + 1] == "≥ 179 m"


def test_lines_bands_and_blocks_along_the_route(pictures: dict[str, Picture]) -> None:
    """Seven bins, seven stations: a bin holds one station, and its middle stands within half a bin of it."""
    found = pictures["error-along-route"]
    metres, km = found.axis({"0 m": 0.0, "10 m": 10.0}, 1), found.axis({"0.1": 0.1, "0.6": 0.6})
    for colour, values in ((AMBER, [-1.5, 2.5, 6.25, -3.5, 4.5]), (BASALT, [8.25, 9.75, -7.25, 11.25, 12.75])):
        (line,) = [s for s in found.of(stroke=colour, stroke_width="1.8") if len(s) == 5]
        assert metres(line[:, 1]) == pytest.approx(values, abs=0.02)
        assert km(line[:, 0]) == pytest.approx([0.203, 0.306, 0.410, 0.515, 0.621], abs=0.621 / 14)
    (band,) = found.of(fill=INK, opacity="0.12")
    spread = [2.11, 3.28, 4.45, 5.62, 6.79, 7.96, 9.13]
    assert metres(band[:7, 1]) == pytest.approx(spread, abs=0.02)
    assert metres(band[7:, 1]) == pytest.approx([-value for value in reversed(spread)], abs=0.02)
    blocks = [km([s[:, 0].min(), s[:, 0].max()]).tolist() for s in found.of(fill=INK, opacity="0.1")]
    assert np.array(blocks) == pytest.approx(np.array([[0.203, 0.306], [0.515, 0.621]]), abs=5e-4)
    assert {"8.7 m", "13 m"} <= {word for _, _, word in found.words}


def test_curves_and_marks_of_the_shares_of_the_road(pictures: dict[str, Picture]) -> None:
    """Five sizes each: a quarter, half and three quarters of the road are within the second, third and fourth of them."""
    found = pictures["error-distribution"]
    metres, share = found.axis({"2": 2.0, "14": 14.0}), found.axis({"25 %": 25.0, "75 %": 75.0}, 1)
    for colour, sizes, p95_m in ((AMBER, [2.5, 3.5, 4.5], 8.46), (BASALT, [8.25, 9.75, 11.25], 16.36)):
        (curve,) = [s for s in found.of(stroke=colour) if len(s) > 20]
        assert np.interp([25.0, 50.0, 75.0], share(curve[:, 1]), metres(curve[:, 0])) == pytest.approx(sizes, abs=0.03)
        (mark,) = [s for s in found.of(fill=colour) if len(s) > 2]
        assert metres(middle(mark)[0]) == pytest.approx(p95_m, abs=0.02)
        assert share(middle(mark)[1]) == pytest.approx(95.0, abs=0.5)
    assert {"8.5 m", "16 m"} <= {word for _, _, word in found.words}
    levels = {word: share(y) for _, y, word in found.words if re.fullmatch(r"[0-9]+ %", word)}
    assert levels == pytest.approx({"0 %": 0.0, "25 %": 25.0, "50 %": 50.0, "75 %": 75.0, "95 %": 95.0}, abs=1.5)


def test_titles_and_findings_of_the_charts() -> None:
    charts = all_charts.figures(by_hand())
    assert [(d.name, plain(d.title)) for d in all_charts.drawings(by_hand())] == [
        ("overlay-out", "Route out: fixed within 30 s on 1 of 2 recordings; Mon left the usual road"),
        ("overlay-home", "Route home: 12 m of road lost before the first fix (median)"),
        ("first-fix", "Fixed within 30 s on 0 of 1 rides (Basalt), 1 of 2 (Amber)"),
        ("missed", "Road lost before the first fix: at least 55 m (Basalt) to 81 m (Amber) in the median"),
        ("error-along-route", "Recordings scatter most at 0.52 to 0.62 km of route out: spread 13 m"),
        ("error-distribution", "95 % of the road within 8.5 m (Amber) to 16 m (Basalt) of the centreline"),
    ]  # fmt: skip
    said = {chart.name: plain(chart.finding) for chart in charts}
    assert said["first-fix"] == "Amber: median 34 s (18 s to 72 s), 1 never fixed. Basalt: median 14 s (6.3 s to 29 s)."
    assert said["missed"] == "Amber: median at least 81 m missed. Basalt: median 55 m missed."
    assert said["error-along-route"] == "Route out: recordings scatter most at 203 m to 306 m, 515 m to 621 m."
    assert said["error-distribution"] == (
        "Amber: half of the road within 3.5 m, 95 % within 8.5 m. Basalt: half of the road within 9.8 m, 95 % within 16 m."
    )


# ---- the report's sketches ----
def ridden_m(path: str, sketch: Any) -> np.ndarray:
    """Return places of a sketch's line from its first one, in metres east and north, by its own scale bar."""
    first, _, steps = path.partition("l")
    places = np.cumsum([[0.0, 0.0], *np.array(steps.split(), float).reshape(-1, 2)], axis=0)
    assert first.startswith("M")
    return places * [1, -1] * sketch.bar_m / sketch.bar


def test_no_sketch_draws_a_recording_over_a_gap() -> None:
    """Of E77 Basalt's own stretch is its gap; of E88 it is three fixes beyond it."""
    first, second = (of_event(by_hand(), event) for event in by_event(by_hand()))
    fixes = {name: PLANE.to_metres(*np.array(PLACES[name]).T) for name in ("amber mon", "basalt mon")}

    def drawn(sketch: Any, kind: str) -> list[np.ndarray]:
        return [ridden_m(s.path, sketch) for s in sketch.strokes if s.kind.startswith(kind)]

    amber, basalt = fixes["amber mon"], fixes["basalt mon"]
    for sketch, kind, wanted in (
        (first, "off unflagged", [amber[1:5]]), (first, "track", [amber, basalt[:2], basalt[2:]]),
        (second, "off error", [basalt[2:5]]), (second, "track", [basalt[:2], basalt[2:]]),
    ):  # fmt: skip
        found = drawn(sketch, kind)
        assert len(found) == len(wanted)
        for line, places in zip(found, wanted, strict=True):
            assert line[-1] == pytest.approx(places[-1] - places[0], abs=1.5)  # a tenth of a unit a step
    colours = [(s.colour, s.dashes) for s in first.strokes if s.kind == "track"]
    assert colours == [(AMBER, ""), (BASALT, "7 3"), (BASALT, "7 3")]
    assert first.strokes[0].kind == "line"
    lone = of_event(
        by_hand(), by_event(by_hand())[0][1:]
    )  # nothing of it was ridden as far as is known; its place is shown
    assert [s.kind for s in lone.strokes] == ["line", "track", "track"]


def test_a_sketch_shows_some_of_the_way_before_and_after() -> None:
    """Half of the stretch, and 100 m at least: of 312 m 156 m, from 47 m on; of 211 m 105.5 m, from 304.5 m to the end."""
    line = PLANE.to_metres(*np.array(PLACES["out"]).T)
    stations = np.array([0.0, 101.0, 203.0, 306.0, 410.0, 515.0, 621.0])
    for event, from_m, to_m in zip(by_event(by_hand()), (47.0, 304.5), (621.0, 621.0), strict=True):
        sketch = of_event(by_hand(), event)
        shown = ridden_m(sketch.strokes[0].path, sketch)
        ends = np.column_stack([np.interp([from_m, to_m], stations, line[:, axis]) for axis in (0, 1)])
        assert shown[-1] == pytest.approx(ends[1] - ends[0], abs=1.5)
        assert 0.45 * 320 <= sketch.width <= 320
        assert 0.35 * 200 <= sketch.height <= 200
        assert sketch.bar <= sketch.width / 4
    nowhere = by_hand(routes=(replace(by_hand().routes[0], centreline=None), by_hand().routes[1]))
    assert of_event(nowhere, by_event(nowhere)[0]) is None


def test_a_sketch_stands_in_the_middle_within_its_margin() -> None:
    """What decides the scale, the line and the stretches off it, fills 320 by 200 units less 24 on each side, one way at least."""
    sketch = of_event(by_hand(), by_event(by_hand())[1])
    corners = []
    for stroke in (s for s in sketch.strokes if s.kind != "track"):
        first, _, steps = stroke.path.removeprefix("M").partition("l")
        corners.append(np.cumsum(np.array([*first.split(), *steps.split()], float).reshape(-1, 2), axis=0))
    low, high = np.vstack(corners).min(axis=0), np.vstack(corners).max(axis=0)
    assert (low + high) / 2 == pytest.approx([sketch.width / 2, sketch.height / 2], abs=0.6)
    assert min(low) >= 23.4
    assert min(320 - 48 - (high - low)[0], 200 - 48 - (high - low)[1]) == pytest.approx(0.0, abs=0.9)
