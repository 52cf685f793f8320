"""What the map's own script draws and says in a browser, layer by layer, of the analysis in which every figure is another."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from by_hand import PLACES, by_hand

from gpsq.output.map.page import map_page
from gpsq.output.templating import template_text

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

AMBER, BASALT = "#0072B2", "#D55E00"
#: All that Leaflet holds of one kind, where it lies and how it looks.
LAYERS = """(wanted) => Object.values(gpsq_map._layers).filter((l) => l.options && wanted in l.options).map((l) => {
  const found = { at: (l.getLatLngs ? l.getLatLngs() : [l.getLatLng()]).flat(3).map((p) => [p.lng, p.lat]) };
  for (const name of ["mark", "radius", "weight", "opacity", "color", "fillColor", "dashArray"])
    found[name] = l.options[name] ?? null;
  return found; })"""

#: What each thing that answers to the pointer says, row by row.
TIPS = """() => Object.values(gpsq_map._layers).filter((l) => l._tooltip)
  .map((l) => [...l._tooltip._content().childNodes].map((n) => n.textContent))"""
LABELS = "[...document.querySelectorAll('.flag, .name')].map((g) => g.textContent)"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    path.write_text(map_page(by_hand()), "utf-8")
    return path


@pytest.fixture
def page(open_page: Callable[..., Any], path: Path) -> Any:
    return open_page(path).page


def layers(page: Any, wanted: str) -> list[dict[str, Any]]:
    return page.evaluate(LAYERS, wanted)


def lie(found: list[list[float]], at: list[tuple[float, float]]) -> bool:
    return np.shape(found) == np.shape(at) and np.allclose(found, at, rtol=0, atol=3e-6)


def plain(text: str) -> str:
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def test_it_opens_on_the_way_of_most_rides(page: Any) -> None:
    checked = page.evaluate("[...document.querySelectorAll('#routes input')].map((box) => [box.value, box.checked])")
    assert checked == [["0", True], ["1", False], ["-1", False]]
    assert [plain(text) for text in page.locator("#routes label").all_inner_texts()] == [
        "out (621 m)", "home (408 m)", "without a route",
    ]  # fmt: skip


def test_marks_stand_at_the_first_fixes_and_where_one_stopped_early(page: Any) -> None:
    marks = layers(page, "mark")
    assert [(m["mark"], m["fillColor"]) for m in marks] == [("disc", AMBER), ("bar", BASALT), ("triangle", BASALT)]
    places = [PLACES["amber mon"][0], PLACES["basalt mon"][-1], PLACES["basalt mon"][0]]
    assert all(lie(mark["at"], [place]) for mark, place in zip(marks, places, strict=True))


def test_what_is_decided_has_its_own_dashes(page: Any) -> None:
    """Solid where nobody has decided; dots for an error of the receiver."""

    def off() -> list[tuple[str | None, int]]:
        drawn = [line for line in layers(page, "dashArray") if line["weight"] == 9 and line["opacity"]]
        return [(line["dashArray"], len(line["at"])) for line in drawn]

    assert off() == [(None, 6), ("3 7", 3)]
    page.locator("#layers input[value=error]").uncheck()
    assert off() == [(None, 6)]


def test_the_way_before_the_first_fix_is_dotted_in_the_devices_colour(page: Any) -> None:
    heads = [line for line in layers(page, "dashArray") if line["dashArray"] == "0.1 8"]
    assert [line["color"] for line in heads] == [BASALT, AMBER]
    assert lie(heads[1]["at"], [(12.0013, 47.0002), (12.002081, 47.00014)])


def test_a_ride_of_a_hidden_way_is_shown_when_it_is_chosen(page: Any) -> None:
    page.locator("#ride").select_option(label="Wed 6 May 17:20, home, ≈\u00a017\u00a0s")
    boxes = "[...document.querySelectorAll('#routes input')].map((box) => box.checked)"
    assert page.evaluate(boxes) == [False, True, False]
    assert [(m["mark"], m["fillColor"]) for m in layers(page, "mark")][:1] == [("triangle", BASALT)]
    (box,) = page.locator("#chosen dd").all_inner_texts()
    assert plain(box) == (
        "fixed after about 17 s (12 s to 27 s), 12 m missed not scored: only 1 ride on this route: cross-track error "
        "needs 3 basalt/wed.gpx"
    )


def test_each_recording_of_a_ride_is_said_beside_it(page: Any) -> None:
    page.locator("#after").click()
    assert [plain(text) for text in page.locator("#chosen dt").all_inner_texts()] == ["Amber", "Basalt"]
    assert [plain(text) for text in page.locator("#chosen dd").all_inner_texts()] == [
        "fixed after 23 s, 61 m missed cross-track error 3.3 m RMS over 411 m Monday morning amber/mon.gpx",
        "fixed after 59 s, at least 179 m missed cross-track error 9.4 m RMS over 302 m basalt/mon.gpx (2)",
    ]


def test_each_thing_says_what_it_is(page: Any) -> None:
    """Ways and hot spots once, an excursion with all who left the line, a recording at its head, line and marks alike."""
    amber = [
        "Mon 4 May 07:00 · Amber", "Monday morning", "fixed after 23 s, 61 m missed",
        "cross-track error 3.3 m RMS over 411 m", "amber/mon.gpx",
    ]  # fmt: skip
    basalt = [
        "Mon 4 May 07:00 · Basalt", "fixed after 59 s, at least 179 m missed", "cross-track error 9.4 m RMS over 302 m",
        "basalt/mon.gpx (2)",
    ]  # fmt: skip
    told = [[plain(row) for row in tip] for tip in page.evaluate(TIPS)]
    assert told == [
        ["Recordings scatter most here", "from 203 m to 306 m along the route: spread 8.7 m"],
        ["Recordings scatter most here", "from 515 m to 621 m along the route: spread 13 m"],
        ["Route out", "621 m, 3 rides"],
        ["Mon 4 May 07:00: 41 m off the road", "Amber, Basalt",
         "41 m to the left, from 203 m to 515 m along the route", "looks like: route choice",
         "1 of 1 other devices on the ride leave the line with it", "named E77"],
        ["Mon 4 May 07:00: 53 m off the road", "Basalt", "53 m to the right, from 410 m to 621 m along the route",
         "decided: error", "looks like: receiver error", "it jumps, 44 m/s where its fast riding is 6 m/s",
         "under the bridge", "named E88"],
        amber, basalt, basalt, amber, amber, [*basalt, "stopped 219 m before the end"], basalt,
    ]  # fmt: skip
    page.locator("#routes input[value='0']").uncheck()
    page.locator("#routes input[value='1']").check()
    told = [[plain(row) for row in tip] for tip in page.evaluate(TIPS)]
    assert told[0] == ["Route home", "408 m, 1 ride", "only 1 ride on this route: cross-track error needs 3"]
    assert {tip[0] for tip in told[1:]} == {"Wed 6 May 17:20 · Basalt"}


def test_a_flag_has_its_day_where_all_rides_are_shown(page: Any) -> None:
    shown = ["start", "finish", "Mon stopped 219 m before the end"]
    assert sorted(map(plain, page.evaluate(LABELS))) == sorted([*shown, "Mon 59 s", "Mon 23 s", "Mon: 41 m off"])
    page.locator("#after").click()
    assert sorted(map(plain, page.evaluate(LABELS))) == sorted([*shown, "23 s", "59 s", "Mon: 41 m off"])
    page.locator("#before").click()
    assert page.locator("#ride").input_value() == "-1"
    page.locator("#before").click()
    assert page.locator("#ride").input_value() == "2"
    assert not {"Mon stopped 219 m before the end", "23 s", "59 s"} & set(map(plain, page.evaluate(LABELS)))


def test_a_published_way_has_no_start_and_no_finish(open_page: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "map.html").write_text(map_page(by_hand(published=True)), "utf-8")
    page = open_page(tmp_path / "map.html").page
    assert page.evaluate(LABELS)[:2] == ["shown from", "shown to"]
    assert page.locator("#plate").is_visible()
    assert page.locator("#plate").inner_text() == "Published: ends cut, first fixes moved along the road."
    box = page.locator("#plate").bounding_box()
    over = page.evaluate("([x, y]) => document.elementFromPoint(x, y).id", [box["x"] + 20, box["y"] + 9])
    assert over == "plate", "it lies over the map"


def test_what_is_not_published_does_not_say_so(page: Any) -> None:
    assert not page.locator("#plate").is_visible()


def test_the_button_of_the_key_says_what_it_will_do(page: Any) -> None:
    said = "[(b) => [b.textContent, b.getAttribute('aria-expanded')]].map((f) => f(document.getElementById('key-button')))[0]"
    for words in (["Close", "true"], ["Rides and key", "false"]):
        page.evaluate("document.getElementById('key-button').click()")
        assert page.evaluate(said) == words


def test_a_faded_flag_is_pale(page: Any) -> None:
    assert page.evaluate(
        "() => { const svg = gpsqFlags.node('svg', {}), label = { x: 0, y: 0, box: [0, 0, 9, 20], end: [0, 0], wide: 9, "
        "text: 'a' }; gpsqFlags.draw(svg, [label, { ...label, faded: true }]); "
        "return [...svg.children].map((group) => group.getAttribute('opacity')); }"
    ) == ["1", "0.35"]


def test_flags_that_find_no_room_are_counted(page: Any) -> None:
    assert page.locator("#crowd").inner_text() == ""
    page.evaluate(
        "() => { const real = gpsqFlags.placed; gpsqFlags.placed = (...given) => real(...given).filter((l) => !l.flag); "
        "gpsq_map.fire('moveend'); }"
    )
    assert page.locator("#crowd").inner_text() == "2 of 2 flags here find no room; zoom in, or pick a ride."


def played(page: Any, seconds: float) -> tuple[str, list[dict[str, Any]]]:
    """Move the slider; return what is said, and the marks that run."""
    page.evaluate(
        "(s) => { const slider = document.getElementById('play-slider'); slider.step = 'any'; slider.value = s; "
        "slider.dispatchEvent(new Event('input')); }",
        seconds,
    )
    return plain(page.locator("#play-said").inner_text()), [m for m in layers(page, "mark") if m["radius"] == 9]


def test_who_has_no_fix_yet_waits_where_his_way_begins(page: Any) -> None:
    """Amber fixed after 23 s and Basalt, whose way begins at the line's beginning, after 58.8 s; the ride lasts 166.5 s."""
    page.locator("#after").click()
    said, (amber, basalt) = played(page, 22.9)
    assert said == "0:22 of 2:46 · Amber: no fix yet · Basalt: no fix yet"
    assert (amber["dashArray"], basalt["dashArray"]) == ("2 3", "2 3")
    assert lie(amber["at"], [(12.0013, 47.0002)])
    assert lie(basalt["at"], [PLACES["out"][0]])
    said, (amber, basalt) = played(page, 23.0)
    assert said == "0:23 of 2:46 · Amber: fixed after 23 s, 61 m missed · Basalt: no fix yet"
    assert (amber["fillColor"], amber["dashArray"], basalt["dashArray"]) == (AMBER, None, "2 3")
    assert lie(amber["at"], PLACES["amber mon"][:1])
    said, (amber, basalt) = played(page, 999.0)
    assert said == (
        "2:46 of 2:46 · Amber: fixed after 23 s, 61 m missed · Basalt: fixed after 59 s, at least 179 m missed"
    )
    assert lie(amber["at"], PLACES["amber mon"][-1:])
    assert lie(basalt["at"], PLACES["basalt mon"][-1:])


def test_of_an_unknown_start_no_time_is_said(page: Any) -> None:
    page.locator("#ride").select_option(index=3)
    said, _ = played(page, 10.0)
    assert said == "0:10 of 1:03 · Basalt: fixed, 12 m missed"


@pytest.mark.parametrize(
    ("name", "ride"), [("d-d1b", "0"), ("d-E77", "0"), ("d-d1c", "0"), ("r-3", "2"), ("d-none", "-1")]
)
def test_a_link_leads_to_the_ride_of_what_it_names(
    open_page: Callable[..., Any], path: Path, name: str, ride: str
) -> None:
    """A deviation of one recording, an event of several, a recording; what is not there shows all rides."""
    assert open_page(path, fragment=f"#{name}").page.locator("#ride").input_value() == ride


def test_kilometres_are_counted_from_the_beginning(open_page: Callable[..., Any], tmp_path: Path) -> None:
    """A way of 2.5 km eastward along the 47th parallel: its first kilometre ends after one."""
    found = by_hand()
    out = found.routes[0]
    assert out.centreline is not None
    east_m = np.linspace(0.0, 2500.0, 7)
    line = replace(out.centreline, xy_m=np.column_stack([east_m, np.zeros(7)]), along_m=east_m)
    alone = [replace(r, deviations=(), ended_early_m=float("nan"), route="") for r in found.results]
    analysis = replace(found, routes=(replace(out, centreline=line),), results=tuple(alone), deviations=())
    (tmp_path / "map.html").write_text(map_page(analysis), "utf-8")
    page = open_page(tmp_path / "map.html").page
    labels = page.evaluate(
        """() => [...document.querySelectorAll('.name')].map((g) => {
          const leader = g.querySelector('path').getAttribute('d').match(/M([-\\d.]+) ([-\\d.]+)L/);
          return [g.textContent, Number(leader[1])]; })"""
    )
    at = {plain(text): x for text, x in labels}
    assert set(at) == {"start", "1 km", "2 km", "finish"}
    for text, share in (("1 km", 0.4), ("2 km", 0.8)):
        assert at[text] == pytest.approx(at["start"] + share * (at["finish"] - at["start"]), abs=2.0)


def copied(open_page: Callable[..., Any], folder: Path, rows: str, form: str) -> list[str]:
    """Return the lines of a table of these rows, copied in this form."""
    table = f"<table><caption>c</caption><tr><th>h</th><th>i</th></tr>{rows}</table>"
    (folder / "t.html").write_text(f"<meta charset='utf-8'>{table}<script>{template_text('copy.js')}</script>", "utf-8")
    page = open_page(folder / "t.html").page
    page.evaluate(
        "window.copied = []; navigator.clipboard.writeText = async (text) => { window.copied.push(text); }; 1"
    )
    page.get_by_text(form, exact=True).click()
    (text,) = page.evaluate("window.copied")
    return text.split("\n")


def test_a_copied_table_holds_no_formula(open_page: Callable[..., Any], tmp_path: Path) -> None:
    """A spreadsheet takes what begins with one of these signs for a formula (as in its CSV files, so here)."""
    rows = "".join(f"<tr><td>{sign}1</td><td>a{sign}</td></tr>" for sign in ("=", "+", "-", "@", "7"))
    assert copied(open_page, tmp_path, rows, "CSV") == [
        '"h","i"', '"\'=1","a="', '"\'+1","a+"', '"\'-1","a-"', '"\'@1","a@"', '"71","a7"',
    ]  # fmt: skip


def test_a_copied_cell_is_its_value_with_what_is_small_in_brackets(
    open_page: Callable[..., Any], tmp_path: Path
) -> None:
    rows = (
        "<tr><td>a|b &lt;&amp;</td><td>3.3 m<span class='bounds'>2.1 m to\n 4.7 m</span> <span class='before'>before"
        " 5.9 m</span><form><button>x</button></form></td></tr>"
    )
    figure = "3.3 m (2.1 m to 4.7 m; before 5.9 m)"
    assert copied(open_page, tmp_path, rows, "Markdown") == [
        "| h | i |", "| --- | --- |", f"| a\\|b <& | {figure} |",
    ]  # fmt: skip
    assert copied(open_page, tmp_path, rows, "HTML") == [
        "<table>", "<caption>c</caption>", "<tr><th>h</th><th>i</th></tr>",
        f"<tr><td>a|b &lt;&amp;</td><td>{figure}</td></tr>", "</table>",
    ]  # fmt: skip
    assert copied(open_page, tmp_path, rows, "CSV") == ['"h","i"', f'"a|b <&","{figure}"']
