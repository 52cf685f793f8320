"""Everything the map shows of data written by hand: every word, line, mark, label and control, and what each of them does."""

from __future__ import annotations

import re
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import pytest
from hand_map import COLOURS, DATA, MARKS, NAMES, RECORDINGS, ask, steps, written
from looks import colours, unlike
from lxml import html

from gpsq.output.drawing import sheet

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

AMBER, BASALT, COBALT, DOLOMITE = COLOURS[:4]
INK, SOFT, RULE, HALO, ACCENT, STREET = "#1c2428", "#545c5f", "#cdc7b8", "#fffdf8", "#7d3512", "#ded8c8"
#: Labels: class, words, how pale, colours of mast and cloth, and the place its mast or leader begins at.


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    with pytest.MonkeyPatch.context() as patch:
        yield written(patch, tmp_path_factory.mktemp("whole") / "map.html")


@pytest.fixture
def page(open_page: Callable[..., Any], path: Path) -> Any:
    return open_page(path).page


@pytest.fixture(scope="module")
def still(open_page: Any, path: Path) -> Any:
    """A page in which nothing is changed: one for all who only look."""
    page = open_page.__self__.context.new_page()
    page.goto(path.as_uri())
    return page


def choose(page: Any, ride: int) -> None:
    ask(
        page,
        "choose",
        ride,
    )


# ---- every word ----
SIDE = """RECORDINGS ON THE GROUND|Quay and mill|Report with all figures|Ride|all rides
Mon 4 May, quay, 0–1 s|Tue 5 May, quay, 2 s|Wed 6 May, mill, 3 s|Thu 7 May, 5 s|← before|after →{chosen}
Ways|mill (2.2 km)|quay (3.3 km)|moor|without a route|Devices|Amber|Basalt|Cobalt|Dolomite|Emerald|Flint
Drawn|centreline and usual spread|recordings|ridden before the first fix|flag: first fix|off the road, undecided
another road, decided|receiver error, decided|where recordings scatter most
1 234 567 points, 7 654 drawn: lines are thinned to 0.7 m for drawing only.|Streets: county survey.
Plain background: background tiles need a network, and their server would learn where the rides were.
Not for navigation or safety of life. Never operate a device while riding; follow the local rules of the road."""
MON = "\nAmber|fixed after 0 s|error 3 m|first ride|amber.gpx|Basalt|fixed after 1 s|basalt.gpx"
TUE = "\nCobalt|fixed after 2 s|not scored: too short|cobalt.gpx|Emerald|fixed after 4 s|emerald.gpx"


def test_every_word_beside_the_map(page: Any) -> None:
    for ride, chosen in ((-1, ""), (0, MON), (1, TUE), (-1, "")):
        choose(page, ride)
        said = page.locator("#side").inner_text().replace("\u00a0", " ")
        assert re.sub(r"\n+", "|", said) == SIDE.format(chosen=chosen).replace("\n", "|")


#: Attributes of what has a name of its own in the page, and of what tells which part is which.
ATTRIBUTES = {
    "gpsq_map": "div role=application aria-label=Map of the recordings; arrow keys move it, plus and minus zoom",
    "plate": "p class=plate hidden=", "play": "div class=play hidden=", "play-button": "button type=button",
    "play-slider": "input type=range min=0 value=0 aria-label=Time of the ride that is played", "play-said": "p",
    "key-button": "button type=button class=key-button aria-expanded=false aria-controls=side",
    "side": "aside class=side aria-label=What is drawn", "title": "h1", "h-ride": "h2", "ride": "select aria-label=Ride to show",
    "before": "button type=button aria-label=Ride before", "after": "button type=button aria-label=Ride after",
    "chosen": "div class=chosen aria-live=polite", "h-route": "h2", "routes": "div class=ticks", "h-device": "h2",
    "devices": "div class=ticks", "h-layer": "h2", "layers": "div class=ticks", "crowd": "p role=status", "drawn": "p",
    "streets": "p", "gpsq-data": "script type=application/json",
}  # fmt: skip


def test_the_page_as_it_is_before_its_script_runs(path: Path) -> None:
    root = html.fromstring(path.read_text("utf-8"))
    found = {
        own.get("id"): " ".join([own.tag, *(f"{k}={v}" for k, v in own.attrib.items() if k != "id")])
        for own in root.xpath("//*[@id]")
    }
    assert found == ATTRIBUTES
    assert [own.attrib for own in root.xpath("//section")] == [
        {"aria-labelledby": name} for name in ("h-ride", "h-route", "h-device", "h-layer")
    ]
    assert [(own.tag, own.get("aria-label")) for own in root.xpath("//body/*[not(self::script)]")] == [
        ("main", "Map"), ("button", None), ("aside", "What is drawn"),
    ]  # fmt: skip
    metas = {own.get("name"): own.get("content") for own in root.xpath("//meta[@name]")}
    assert metas == {
        "viewport": "width=device-width, initial-scale=1",
        "color-scheme": "light dark",
        "referrer": "no-referrer",
    }
    assert root.xpath("string(//title)") == "Quay and mill – map of the recordings"
    assert root.xpath("string(//noscript)") == ("The map needs scripts. The report shows the same routes without them.")
    assert [own.text for own in root.xpath("//button")] == ["Play", "Rides and key", "← before", "after →"]
    assert root.xpath("//a/@href") == ["report.html"]
    assert root.get("lang") == "en"


# ---- every line and mark ----
def casing(weight: float, opacity: float, at: list[list[int]]) -> list[Any]:
    return ["line", HALO, weight, opacity, "", 0, "", at]


def test_every_line_and_mark_from_the_lowest_to_the_highest(page: Any) -> None:
    """Streets, places of scatter, spread, centreline, who left the road, recordings, what was missed, fixes; the chosen on top."""
    north, south, third = ([[at, 4_000], [at, 16_000]] for at in (300, -300, 600))
    third = [[600, 4_000], [600, 8_000]]
    ground = [
        ["line", STREET, 2.5, 1, "", 0, "", [[-500, 0], [-500, 9_000]]],
        ["line", STREET, 2.5, 1, "", 0, "", [[500, 0], [500, 9_000]]],
        ["area", "", 0, 0, ACCENT, 0.22, "evenodd", [[100, 9_000], [100, 9_900]]],
        ["area", "", 0, 0, INK, 0.1, "nonzero", [[100, 0], [100, 20_000]]],
        ["line", RULE, 5, 1, "", 0, "", [[0, 0], [0, 10_000]]],
    ]
    places = {at: [[at, 6_000], [at, 7_000]] for at in (2_000, 3_000, 4_000)}
    answers = [["line", "#3388ff", 9, 0, "", 0, "", at] for at in places.values()]
    decided = ((0.2, ""), (0.12, "14 8"), (0.12, "3 7"))
    off = [["line", INK, 9, o, "", 0, d, at] for (o, d), at in zip(decided, places.values(), strict=True)]
    heads = {"Emerald": [[0, 0], [0, 20_000]], "Amber": [[0, 1_000], [0, 2_000]], "Basalt": [[0, 3_000], [0, 4_000]]}
    colours = dict(zip(NAMES, COLOURS, strict=True))
    assert ask(page, "layers") == [
        *ground, *off, *answers,
        casing(4, 0.55, north), ["line", AMBER, 1.5, 0.8, "", 0, "", north],
        casing(4, 0.55, south), ["line", BASALT, 1.5, 0.8, "", 0, "", south],
        casing(4, 0.55, third), ["line", COBALT, 1.5, 0.8, "", 0, "", third],
        *(["line", colours[name], 4, 0.8, "", 0, "0.1 8", way] for name, way in heads.items()),
        ["bar", HALO, 1, 1, AMBER, 1, 7, [[300, 16_000]]], ["disc", HALO, 1, 1, AMBER, 1, 3.5, [[300, 4_000]]],
        ["triangle", HALO, 1, 1, BASALT, 1, 3.5, [[-300, 4_000]]], ["square", HALO, 1, 1, COBALT, 1, 3.5, [[600, 4_000]]],
    ]  # fmt: skip
    choose(page, 0)
    pale = [off[0], *([*line[:3], 0.05, *line[4:]] for line in off[1:])]
    assert ask(page, "layers") == [
        *ground, *pale, *answers,
        casing(4, 0, third), ["line", COBALT, 1.5, 0.18, "", 0, "", third],
        casing(5.5, 0.55, north), ["line", AMBER, 3, 1, "", 0, "", north],
        casing(5.5, 0.55, south), ["line", BASALT, 3, 1, "", 0, "", south],
        ["line", colours["Emerald"], 4, 0.1, "", 0, "0.1 8", heads["Emerald"]],
        *(["line", colours[name], 6, 0.8, "", 0, "0.1 8", heads[name]] for name in ("Amber", "Basalt")),
        ["bar", HALO, 1, 1, AMBER, 1, 7, [[300, 16_000]]], ["disc", HALO, 1, 1, AMBER, 1, 6, [[300, 4_000]]],
        ["triangle", HALO, 1, 1, BASALT, 1, 6, [[-300, 4_000]]], ["square", HALO, 1, 0.15, COBALT, 0.15, 3.5, [[600, 4_000]]],
    ]  # fmt: skip


def test_each_box_hides_what_it_names_and_shows_it_again(page: Any) -> None:
    """How many lines and marks go with each of them."""
    whole = ask(page, "layers")
    gone = {
        # arrows and kilometres go with the centreline, flags with their marks, names with who left the road
        ("layers", "centreline"): 2.006, ("layers", "tracks"): 6.0, ("layers", "heads"): 3.0, ("layers", "fixes"): 4.003,
        ("layers", "unflagged"): 2.001, ("layers", "intentional"): 2.001, ("layers", "error"): 2.001,
        ("layers", "hotspots"): 1.0, ("devices", "0"): 5.002, ("devices", "1"): 4.001, ("devices", "2"): 7.003,
        ("devices", "4"): 1.0, ("devices", "5"): 0.0,
    }  # fmt: skip
    for which, count in gone.items():
        before, hidden, after = ask(page, "ticked", list(which))
        assert (before, after) == (whole_count := pytest.approx(len(whole) + 0.015), whole_count), which
        assert before - hidden == pytest.approx(count, abs=1e-6), which


def test_only_the_ways_that_are_ticked_are_drawn_and_the_map_goes_there(page: Any) -> None:
    assert ask(page, "looksAt") == [False, True]
    page.locator("#routes input[value='1']").uncheck()
    assert ask(page, "layers") == []
    page.locator("#routes input[value='0']").check()
    assert ask(page, "looksAt") == [True, False]
    kinds = [(kind, at) for kind, *_, at in ask(page, "layers")]
    mill = [[-6_300, 4_000], [-6_300, 16_000]]
    assert kinds == [
        ("area", [[-5_900, 0], [-5_900, 900]]), ("area", [[-5_950, 0], [-5_950, 20_000]]),
        ("line", [[-6_000, 0], [-6_000, 20_000]]),
        ("line", [[-7_000, 6_000], [-7_000, 7_000]]), ("line", [[-7_000, 6_000], [-7_000, 7_000]]),
        ("line", mill), ("line", mill), ("diamond", mill[:1]),
    ]  # fmt: skip
    page.locator("#routes input[value='-1']").check()
    assert ask(page, "layers")[-1][-1] == [[-3_000, 4_000]]


# ---- every label ----
ENDS = [
    ["name", "start", "1", "var(--soft)", None, [0, 0]], ["name", "finish", "1", "var(--soft)", None, [10_000, 20_000]],
    ["name", "Mon stopped 400 m before the end", "1", "var(--soft)", None, [300, 16_000]],
]  # fmt: skip
OFF = [
    ["name", f"{day}: {at} m off", "1", "var(--soft)", None, [at, 7_000]]
    for day, at in (("Mon", 2_000), ("Tue", 3_000), ("Tue", 4_000))
]
KILOMETRES = [
    ["name", f"{k} km", "1", "var(--soft)", None, at]
    for k, at in ((1, [0, 8_983]), (2, [0, 17_966]), (3, [6_949, 20_000]))
]


def flag(device: int, lat: int, said: str, opacity: str = "1") -> list[Any]:
    return ["flag", said, opacity, COLOURS[device], COLOURS[device], [lat, 4_000]]


def alike(found: list[Any], wanted: list[Any]) -> None:
    """Labels say the same, in this order, of places within a pixel or so."""
    assert [label[:-1] for label in found] == [label[:-1] for label in wanted]
    for label, other in zip(found, wanted, strict=True):
        assert label[-1] == pytest.approx(other[-1], abs=40), label


def test_every_label_the_most_telling_first(page: Any) -> None:
    """Of flags that of whoever missed most; where a ride is chosen its own without their day, and pale ones last."""
    flags = [flag(2, 600, "Tue 2 s"), flag(1, -300, "Mon 1 s"), flag(0, 300, "Mon 0 s")]
    alike(ask(page, "labels"), [*ENDS, *flags, *OFF, *KILOMETRES])
    choose(page, 0)
    own = [flag(0, 300, "0 s"), flag(1, -300, "1 s")]
    alike(ask(page, "labels"), [*ENDS, *own, OFF[0], *KILOMETRES, flag(2, 600, "2 s", "0.35")])
    choose(page, 1)
    alike(ask(page, "labels")[:3], [*ENDS[:2], flag(2, 600, "2 s")])


def test_arrows_point_the_way_that_is_ridden(still: Any) -> None:
    """Two on the quay's way to the east, one to the north; an arrow's head points along x before it is turned."""
    heads = ask(still, "arrows")  # fmt: skip
    assert [d for d, _ in heads] == ["M-5 -5L3 0L-5 5"] * 3
    turned = [[float(part) for part in re.findall(r"[-\d.]+", own)] for _, own in heads]
    assert [turn for _, _, turn in turned] == [0, 0, -90]
    pixels = ask(still, "pixels")  # fmt: skip
    for (x, y, _), at in zip(turned, pixels, strict=True):
        assert [x, y] == pytest.approx(at, abs=1.5)


def test_labels_stand_where_their_numbers_say(page: Any) -> None:
    """The sheet of labels lies on the map, and does again once the map has moved; none is left while it zooms."""
    assert ask(page, "shift") == [pytest.approx(0.0, abs=1.0), "start"]
    page.evaluate("gpsq_map.panBy([60, -40], { animate: false })")
    assert ask(page, "shift") == [pytest.approx(0.0, abs=1.0), "start"]
    page.evaluate("gpsq_map.fire('zoomstart')")
    assert page.locator(".labels > *").count() == 0
    page.evaluate("gpsq_map.fire('zoomend')")
    assert page.locator(".labels > *").count() == 15
    page.evaluate("gpsq_map.fire('zoomstart'); gpsq_map.fire('resize')")
    assert page.locator(".labels > *").count() == 15


def test_each_line_and_mark_says_what_it_is(page: Any) -> None:
    """The first row of each tip is printed bold."""
    amber = ["Mon 4 May · Amber", "first ride", "fixed after 0 s", "error 3 m", "amber.gpx"]
    basalt = ["Mon 4 May · Basalt", "fixed after 1 s", "basalt.gpx"]
    cobalt = ["Tue 5 May · Cobalt", "fixed after 2 s", "not scored: too short", "cobalt.gpx"]
    tips = [
        ["Recordings scatter most here", "at the quay"], ["Route quay", "3.3 km, 2 rides"],
        ["Mon 4 May: 2000 m off the road", "Amber, Basalt", "2000 m to the left", "looks like: route choice", "both left",
         "seen", "named E1"],
        ["Tue 5 May: 3000 m off the road", "Cobalt", "3000 m to the left", "decided: intentional", "named E2"],
        ["Tue 5 May: 4000 m off the road", "Cobalt", "4000 m to the left", "decided: error", "named E3"],
        amber, basalt, cobalt, ["Tue 5 May · Emerald", "fixed after 4 s", "emerald.gpx"], amber, basalt,
        [*amber, "stopped 400 m before the end"], amber, basalt, cobalt,
    ]  # fmt: skip
    assert ask(page, "tips") == [[f"STRONG {first}", *(f"SPAN {row}" for row in rest)] for first, *rest in tips]
    page.locator("#routes input[value='1']").uncheck()
    page.locator("#routes input[value='0']").check()
    assert ask(page, "tips")[1] == ["STRONG Route mill", "SPAN 2.2 km, 1 ride", "SPAN only 1 ride"]


def test_a_click_on_a_line_or_mark_chooses_its_ride(page: Any) -> None:
    chosen = ask(page, "clicks")
    assert chosen == [-1, -1, 0, 1, 1, 0, 0, 1, 1, 0, 0, 0, 0, 0, 1]


def test_the_line_under_the_pointer_stands_out_while_it_is_there(page: Any) -> None:
    found = ask(page, "hovered")
    assert found == [[4, 1], [1.5, 0.8]]


# ---- what a device looks like, on the ground and in the key ----
def corners(text: str) -> list[list[float]]:
    numbers = [float(part) for part in re.findall(r"-?[\d.]+", text)]
    return [list(pair) for pair in zip(numbers[::2], numbers[1::2], strict=True)]


def outline(kind: str, x: float, y: float, half: float) -> Any:
    """A device's mark as the pictures have it, on a screen, where y runs downwards."""
    places = sorted([x + half * a, y - half * b] for a, b in sheet.MARKS[kind])
    return [pytest.approx(place, abs=0.01) for place in places]


def test_a_device_has_the_mark_of_the_pictures_on_the_ground_and_in_the_key(still: Any) -> None:
    ground = ask(
        still,
        "outlines",
        [*MARKS, "bar"],
    )
    key = ask(still, "key")  # fmt: skip
    assert ground["disc"] == ["circle"]
    assert 'cx="22" cy="9" r="5" fill="#0072B2" stroke="#fffdf8"' in key[0][1]
    bar = [[38, 26], [62, 26], [62, 34], [38, 34]]
    assert ground["bar"] == [*bar, "closed", "filled"]
    for (line, mark), kind, colour in zip(key, MARKS, COLOURS, strict=True):
        assert f'd="M2 9H42" fill="none" stroke="{colour}" stroke-width="2.5"' in line
        assert f'fill="{colour}" stroke="#fffdf8"' in mark
        if kind != "disc":
            assert sorted(ground[kind][:-2]) == outline(kind, 50, 30, 10)
            assert sorted(corners(re.findall(r'd="([^"]+)Z"', mark)[0])) == outline(kind, 22, 9, 5)


def test_the_key_shows_each_kind_of_line_as_it_is_drawn(still: Any) -> None:
    """Thickness, how pale, dashes and ends; the colour is the page's own, of the accent where recordings scatter."""
    found = ask(still, "swatches")
    ink = "M2 9H42|currentColor"
    assert found == [
        ["M22 17V3M18 8L22 3L26 8|currentColor|1.6|||"], [f"{ink}|2|||"], [f"{ink}|1.5|0.7||"], [f"{ink}|4||0.1 7|round"],
        ["M12 17V2|currentColor|1.6|||", "M12 2H38L33 6.5L38 11H12Z|currentColor|1.6|||"],
        [f"{ink}|9|0.4||"], [f"{ink}|9|0.2|12 6|"], [f"{ink}|9|0.2|3 5|"], ["M2 9H42|var(--accent)|14|0.3||"],
    ]  # fmt: skip
    hidden = ask(still, "hidden")  # fmt: skip
    assert hidden is True


# ---- what the controls do ----
def test_the_buttons_step_through_all_rides_and_round(page: Any) -> None:
    seen = []
    for button in ["#after"] * 5 + ["#before"] * 2:
        page.locator(button).click()
        seen.append((int(page.locator("#ride").input_value()), ask(page, "ways")))
    assert seen == [(0, [1]), (1, [1]), (2, [0]), (3, [-1]), (-1, [-1]), (3, [-1]), (2, [0])]


def test_a_link_that_is_followed_on_the_page_leads_to_its_ride(page: Any) -> None:
    """A recording, or one of the deviations of an event, which is then shown closely."""
    for name, ride in (("r-3", "2"), ("d-E3b", "1"), ("d-E1", "0"), ("r-99", "0"), ("%72-5", "3")):
        ask(page, "follow", name)  # fmt: skip
        assert page.locator("#ride").input_value() == ride, name
        if name.startswith("d-"):
            at = {"d-E3b": 0.004, "d-E1": 0.002}[name]
            inside, wide = ask(page, "shows", at)  # fmt: skip
            assert inside
            assert 0.002 < wide < 0.012


def test_all_is_seen_at_first_and_nobody_can_leave_it(page: Any) -> None:
    """44 px of air round the ways that are shown, and no more than a step of zoom needs; the map ends beyond the whole."""
    x, y, size, low, south, east = ask(page, "extent")
    assert min(*x, size[0] - max(x), *y, size[1] - max(y)) >= 44
    assert x[1] - x[0] > (size[0] - 88) / 2**0.25 - 2
    # 0.0163° of latitude with 30 % to each side find room in 800 px at 15.25; a whole step less, and one more
    assert low == 14
    assert (south, east) == pytest.approx((-0.0063 - 3 * 0.0163, 0.02 + 3 * 0.02), abs=1e-6)


def test_the_map_makes_room_for_what_plays_a_ride_and_takes_it_back(page: Any) -> None:
    """What is shown lies in the middle of what is free: 44 px within the edge above, 14 px above the window of play below."""
    for ride, is_played in ((-1, False), (0, True), (1, False)):
        choose(page, ride)
        south, north, top = ask(page, "lies")
        assert (south + north) / 2 == pytest.approx((44 + top - 14) / 2 if is_played else 400, abs=2)


def test_scale_north_and_zoom_stand_in_their_corners(still: Any) -> None:
    assert still.evaluate("gpsq_map.options.preferCanvas") is True
    assert re.fullmatch(r"\d+ m", still.locator(".leaflet-control-scale").inner_text())
    places = ask(still, "corners")
    assert [place[:2] for place in places] == [[True, False], [True, False], [False, True]]
    assert places[0][2] < places[1][2]
    assert still.locator(".north").inner_text() == "N"


def test_flags_keep_clear_of_what_stands_over_the_map(page: Any) -> None:
    """The place in the middle of the window of play is taken: a flag there would be over its words."""
    choose(page, 0)
    ask(page, "lookNear")
    boxes = ask(page, "boxesOfLabels")  # fmt: skip
    for one, other in combinations(boxes, 2):
        assert one[0] >= other[2] or other[0] >= one[2] or one[1] >= other[3] or other[1] >= one[3]


def test_of_many_recordings_lines_are_pale_and_only_some_flags_and_kilometres_are_written(
    open_page: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty lines: 9 / 60 of full ink, but 0.16 at least, without a casing; 22 marks of kilometres 42 px apart, every second."""
    more = [{**RECORDINGS[2], "at": [k * 150, 4_000], "flag": f"{k} s"} for k in range(57)]
    bends = steps(*((0, 200 * k) for k in range(101)))
    quay = {**DATA["routes"][1], "kilometres": [0, 900] * 22, "line": bends}
    path = written(
        monkeypatch,
        tmp_path / "map.html",
        recordings=RECORDINGS + more,
        routes=[DATA["routes"][0], quay, DATA["routes"][2]],
    )
    page = open_page(path).page
    tracks = [layer for layer in ask(page, "layers") if layer[2] in (1.5, 4) and not layer[6]]
    assert len(tracks) == 60
    assert {layer[3] for layer in tracks} == {0.16}
    arrows = [float(re.findall(r"[\d.]+", own)[0]) for _, own in ask(page, "arrows")]
    assert 5 <= len(arrows) <= 7  # of 850 px, one about every 130
    assert all(130 <= after - before < 142 for before, after in pairwise(arrows))
    labels = ask(page, "labels")
    assert 6 <= sum(label[0] == "flag" for label in labels) <= 16  # as many as sixtieths of 944 px
    written_km = [int(label[1].split()[0]) for label in labels if label[1].endswith(" km")]
    assert written_km
    assert all(k % 2 == 0 for k in written_km)
    said = re.fullmatch(
        r"(\d+) of 60 flags here find no room; zoom in, or pick a ride\.", page.locator("#crowd").inner_text()
    )
    assert said
    assert int(said[1]) == 60 - sum(label[0] == "flag" for label in labels)
    choose(page, 0)
    assert [label[1] for label in ask(page, "labels") if label[0] == "flag"] == ["0 s", "1 s"]
    assert page.locator("#crowd").inner_text() == ""
    assert {layer[3] for layer in ask(page, "layers") if layer[0] == "line" and layer[1] == COBALT} == {0.16}
    assert sum(layer[2] == 5.5 for layer in ask(page, "layers")) == 2


# ---- playing ----


def test_a_ride_that_is_played_says_where_each_device_is_and_what_it_knows(page: Any) -> None:
    """Amber fixes after 23 s and ends after 43 s, Basalt after 30.5 s and 50.5 s; waiting marks are grey and dotted."""
    assert not page.locator("#play").is_visible()
    choose(page, 0)
    assert page.locator("#play").is_visible()
    said = page.locator("#play-said")
    assert said.inner_text() == "0:50 long; play it, or move through it with the slider and the arrow keys."
    assert ask(page, "slider") == ["0", "50.5", "1", "0"]  # fmt: skip
    assert ask(page, "runners") == []
    waits = [[mark, SOFT, RULE, 2, 1, "2 3", False, 0, lon] for mark, lon in (("disc", 1_000), ("triangle", 3_000))]

    def runs(device: int, lat: int, lon: int) -> list[Any]:
        return [MARKS[device], HALO, COLOURS[device], 2, 1, "", False, lat, lon]

    for second, words, marks in (
        (22.9, "0:22 of 0:50 · Amber: no fix yet · Basalt: no fix yet", [waits[0], waits[1]]),
        (28, "0:28 of 0:50 · Amber: fixed after 0 s, 0 m missed · Basalt: no fix yet", [runs(0, 300, 6_000), waits[1]]),
        (38, "0:38 of 0:50 · Amber: fixed after 0 s, 0 m missed · Basalt: fixed", [runs(0, 300, 12_000), runs(1, -300, 8_500)]),
        (50.5, "0:50 of 0:50 · Amber: fixed after 0 s, 0 m missed · Basalt: fixed", [runs(0, 300, 16_000), runs(1, -300, 16_000)]),
    ):  # fmt: skip
        ask(page, "slide", second)
        assert said.inner_text() == words
        assert ask(page, "runners") == marks
        assert page.locator("#play-slider").get_attribute("aria-valuetext") == words[:4]
    choose(page, 2)
    assert not page.locator("#play").is_visible()
    assert ask(page, "runners") == []


@pytest.mark.parametrize("less", [False, True])
def test_it_plays_for_fifteen_seconds_stops_goes_on_and_begins_anew(page: Any, less: bool) -> None:
    """By a clock of the test's own; with less motion asked for, in twelve steps."""
    page.emulate_media(reduced_motion="reduce" if less else "no-preference")
    choose(page, 0)
    seen = ask(page, "plays")
    page.emulate_media(reduced_motion="no-preference")
    assert seen == [
        [0, "Stop"], 1250 if less else "frame", [25, "Stop"], [25, "Play"], [25, "Stop"], [30, "Stop"], [50, "Play"],
        [0, "Stop"], [0, "Play"], [10, "Stop"], [10, "Play"],
    ]  # fmt: skip


# ---- what it looks like ----
def test_the_map_follows_the_look_of_the_page(page: Any) -> None:
    """Colours are drawn anew in the dark and in print: the centreline's, and the casing's."""
    choose(page, 0)
    found = {}
    for media, scheme in (("screen", "dark"), ("screen", "light"), ("print", "light")):
        ask(page, "turning")
        page.emulate_media(media=media, color_scheme=scheme)
        ask(page, "turned")
        drawn = ask(page, "layers")
        found[media, scheme] = {layer[1] for layer in drawn if layer[2] == 5} | {
            layer[1] for layer in drawn if layer[2] == 4 and not layer[6]
        }
    assert found == {
        ("screen", "dark"): {"#454c4f", "#14181a"},
        ("screen", "light"): {RULE, HALO},
        ("print", "light"): {"#999", "#fff"},
    }
    hidden = ask(page, "printed")
    assert hidden == ["none"] * 4
    assert page.evaluate("getComputedStyle(document.getElementById('side')).display") == "block"
    page.emulate_media(media="screen")


def test_beside_the_map_at_a_desk(page: Any) -> None:
    choose(page, 0)
    side, plot, play = ask(page, "boxes", ["#side", "#gpsq_map", "#play"])
    assert (side, plot) == ([0, 0, 336, 800], [336, 0, 1280, 800])
    assert (play[0] + play[2]) / 2 == pytest.approx((336 + 1280) / 2, abs=1)
    assert 700 < play[1] < play[3] < 790
    assert not page.locator("#key-button").is_visible()
    leaf, ink, soft = "rgb(255, 253, 248)", "rgb(28, 36, 40)", "rgb(84, 92, 95)"
    assert ask(page, "look") == [
        ["12px", "600", ink], ["none", soft, "1.8px"], [leaf, ink], ["block"], ["block"], [leaf, ink], [leaf, ink],
        ["rgb(248, 246, 240)"], ["620", "none"], ["700", leaf], [ink, leaf],
    ]  # fmt: skip


def test_controls_beside_and_on_the_map_are_ink_on_paper_within_an_edge(page: Any) -> None:
    """All that is pressed is 40 px high and looks like it: fingers need 24 (WCAG 2.2, 2.5.8)."""
    choose(page, 0)
    own = colours(page, "ink", "paper", "soft", "rule", "leaf", "note", "accent")
    control = {
        "color": own["ink"], "backgroundColor": own["paper"], "borderTopColor": own["soft"], "borderTopStyle": "solid",
        "borderTopWidth": "1px", "minHeight": "40px",
    }  # fmt: skip
    pressed = control | {"cursor": "pointer"}
    assert unlike(page, {
        ".stepper button": pressed, ".stepper select": control, ".play button": pressed, ".key-button": pressed,
        ".stepper": {"display": "grid", "rowGap": "6.4px"}, ".ticks label": {"display": "flex", "minHeight": "30.4px"},
        ".ticks input": {"accentColor": own["accent"]}, ".play input": {"accentColor": own["accent"]},
        ".play": {"borderTopColor": own["rule"], "display": "grid"}, ".side": {"backgroundColor": own["leaf"], "overflowY": "auto"},
        ".chosen dt": {"display": "flex", "fontWeight": "600"},
        ".side footer": {"borderTopColor": own["rule"], "borderTopStyle": "solid"},
    }) == {}  # fmt: skip


def test_on_a_phone_the_key_is_drawn_over_the_map_and_away_again(open_page: Callable[..., Any], path: Path) -> None:
    page = open_page(path, 390).page
    choose(page, 0)
    button = page.locator("#key-button")
    plot, play, key, scale = ask(page, "boxes", ["#gpsq_map", "#play", "#key-button", ".leaflet-control-scale"])
    assert plot == [0, 0, 390, 800]
    assert key[0] < 20
    assert 780 < key[3] < 800
    assert play[3] <= key[1]
    assert scale[0] > 195
    for name, is_open in (("Close", True), ("Rides and key", False)):
        button.click()
        assert (button.inner_text(), button.get_attribute("aria-expanded")) == (name, str(is_open).lower())
        assert page.locator("#side").is_visible() is is_open
        assert ask(page, "onTop", "#key-button")
        if is_open:
            assert ask(page, "onTop", "#side")
            assert ask(page, "boxes", ["#side"])[0][3] == 800
            assert ask(page, "boxes", ["#side"])[0][1] >= 0.26 * 800 - 1


# ---- where labels go ----


def test_a_flag_flies_up_to_the_right_and_otherwise_where_there_is_room(still: Any) -> None:
    def first(blocked: list[Any], at: tuple[int, int] = (100, 100), flag: bool = True, lines: list[Any] = []) -> Any:  # noqa: B006  # only read
        label = {"x": at[0], "y": at[1], "text": "ab", "flag": flag, "colour": "red"}
        found = ask(still, "placed", [[label], {"x": 400, "y": 300}, lines, blocked])
        return found and found[0][1:]

    (left, top, right, bottom), end = first([])
    wide = right - left
    assert ((left, top, bottom), end) == ((100, 66, 86), [100, 86])
    assert first([[105, 70, 300, 80]])[0] == [100 - wide, 66, 100, 86]
    assert first([[0, 0, 400, 98]])[0] == [100, 114, 100 + wide, 134]
    assert first([], lines=[[110, 70]])[0] == [100 - wide, 66, 100, 86]
    assert first([], (390, 150))[0] == [390 - wide, 116, 390, 136]
    assert first([], flag=False)[0][:2] == [114, 90]
    assert (first([], (-1, 100)), first([], (100, 301)), first([[0, 0, 400, 300]])) == ([], [], [])
    # a name stands no further off than 56 px, a flag up to 134
    crowded = [[x, y] for x in range(0, 400, 9) for y in range(0, 196, 9)]
    assert first([], flag=False, lines=crowded) == []
    assert first([], lines=crowded) == [[100, 204, 100 + wide, 224], [100, 204]]


def test_labels_that_crowd_lie_on_none_other_and_on_no_mast(still: Any) -> None:
    labels = [
        {"x": 60 + 37 * k % 300, "y": 60 + 53 * k % 200, "text": "x" * (2 + k % 9), "flag": k % 3 > 0}
        for k in range(30)
    ]
    found = ask(still, "placed", [labels, {"x": 420, "y": 320}, [], []])
    assert 8 <= len(found) < 30
    starts = {(label["text"], label["x"], label["y"]) for label in labels}
    for (_, one, _), (_, other, _) in combinations(found, 2):
        assert one[0] >= other[2] + 2 or other[0] >= one[2] + 2 or one[1] >= other[3] + 2 or other[1] >= one[3] + 2
    assert all(box[0] >= 2 and box[1] >= 2 and box[2] <= 418 and box[3] <= 318 for _, box, _ in found)
    masts = ask(
        still,
        "masts",
        [labels, {"x": 420, "y": 320}],
    )
    assert len(starts) == 30
    for k, (x, y, to_x, to_y) in enumerate(masts):
        steps = [(x + (to_x - x) * s / 11, y + (to_y - y) * s / 11) for s in range(12)]
        for n, (_, box, _) in enumerate(found):
            if n != k:
                assert not any(box[0] + 1 < a < box[2] - 1 and box[1] + 1 < b < box[3] - 1 for a, b in steps)


def test_a_flags_cloth_is_notched_away_from_its_mast_and_a_name_has_a_plate(still: Any) -> None:
    drawn = ask(still, "drawn")
    mast = "<path d=M{x} 50L{x} 30 fill=none stroke=red stroke-width=1.6></path>"
    cloth = "<path d={d} fill=var(--leaf) stroke=red stroke-width=1.6></path>"
    plate = "<rect x=100 y=10 width=40 height=20 rx=2 fill=var(--leaf) fill-opacity=0.82></rect>"
    words = "<text x={x} y=24.5 data-label=>a</text></g>"
    leader = "<path d=M90 50L100 30 fill=none stroke=var(--soft) stroke-width=1></path>"
    assert drawn == [
        "<g class=flag opacity=1>" + mast.format(x=100) + cloth.format(d="M100 10H140L134 20L140 30H100Z") + words.format(x=106),
        "<g class=flag opacity=0.35>" + mast.format(x=140) + cloth.format(d="M140 10H100L106 20L100 30H140Z") + words.format(x=112),
        "<g class=name opacity=1>" + leader + plate + words.format(x=106),
        "<g class=name opacity=1>" + plate + words.format(x=106),
    ]  # fmt: skip
