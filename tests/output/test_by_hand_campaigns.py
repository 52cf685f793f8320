"""Two results folders written by hand, side by side: every cell, sentence, bar and mark against what was put in."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from typing import Any

import numpy as np
import pytest
from by_hand_cells import expect
from lxml import html
from test_by_hand_pictures import Picture, middle
from two_weeks import BRIDGES, FIRST_WEEK, SECOND_WEEK, two_weeks

from gpsq.output import campaigns_page
from gpsq.settings import Settings
from gpsq.summaries.across.campaigns import CAUTION, Compared, compare_campaigns

HEADS = [
    "device", "rides", "start states", "in 30 s", "never", "median time to first fix", "half of the road within",
    "95 % within", "repeatability", "errors per 100 km",
]  # fmt: skip
NOUGHT = "unknown"
ONE = "course 1: (1) Quay, route out; (2) Weir, route away"
TWO = "course 2: Quay, route home"
SHOWN = {
    ONE: [
        ["Amber (1)", "10", "6 hot", "50 %", "1", "37 s (19 s to 81 s)", "2.8 m (2.0 m to 3.8 m)", "9.2 m (8.1 m to 11 m)",
         "4.1 m (3.1 m to 5.1 m)", NOUGHT],
        ["Basalt (1)", "4", "6 hot", NOUGHT, NOUGHT, "9.7 s", "6.3 m (4.7 m to 7.8 m)", "17 m (15 m to 20 m)",
         "8.3 m (6.3 m to 12 m)", NOUGHT],
        ["Cobalt (2)", "12", "3 hot", "38 % (14 % to 65 %)", "2", "34 s (18 s to 72 s)", "2.3 m (1.8 m to 3.3 m)",
         "8.5 m (7.6 m to 9.9 m)", "3.9 m (3.0 m to 4.8 m)", "22 (7.3 to 49)"],
        ["Amber (2)", "11", "3 hot", "70 % (40 % to 89 %)", "0", "14 s (6.3 s to 29 s)", "5.9 m (4.4 m to 7.2 m)",
         "16 m (14 m to 19 m)", "7.7 m (5.8 m to 10 m)", "5.1 (0.16 to 28)"],
    ],
    TWO: [
        ["Amber", "12", "2 cold", "38 % (14 % to 65 %)", "2", "34 s (18 s to 72 s)", "2.3 m (1.8 m to 3.3 m)",
         "8.5 m (7.6 m to 9.9 m)", "3.9 m (3.0 m to 4.8 m)", "22 (7.3 to 49)"],
    ],
}  # fmt: skip
NOTES = [
    CAUTION,
    "Quay: 4 deviations wait for a decision; until then they count in the errors.",
    "Weir: 1 deviation waits for a decision; until then it counts in the errors.",
]
RATIOS = {"Cobalt": (0.8, 0.6313, 1.0137), "Basalt": (2.0, 1.5783, 2.5343)}


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Compared:
    return compare_campaigns(two_weeks(tmp_path_factory.mktemp("weeks")), Settings())


@pytest.fixture(scope="module")
def texts(compared: Compared) -> dict[str, Any]:
    return campaigns_page._texts(compared)


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def plain(element: Any) -> str:
    return " ".join(element.text_content().replace("\N{MINUS SIGN}", "-").split())


def test_every_cell_of_the_table_of_devices(texts: dict[str, Any]) -> None:
    whose = (
        {"course": "course 1", "campaign": "Quay", "start_states": "6 hot"},
        {"course": "course 1", "campaign": "Quay", "start_states": "6 hot"},
        {"course": "course 1", "campaign": "Weir", "start_states": "3 hot"},
        {"course": "course 1", "campaign": "Weir", "start_states": "3 hot"},
        {"course": "course 2", "campaign": "Quay", "start_states": "2 cold"},
    )
    put_in = (*FIRST_WEEK[1:3], *SECOND_WEEK, FIRST_WEEK[3])
    found = rows_of(texts["compare.csv"])
    expect("compare.csv", [a | dict(b) for a, b in zip(whose, put_in, strict=True)], found)


def test_every_cell_of_the_table_of_pairs(texts: dict[str, Any]) -> None:
    expect("bridges.csv", [*BRIDGES], rows_of(texts["bridges.csv"]))


def test_the_table_for_a_terminal(compared: Compared) -> None:
    lines = list(campaigns_page.lines(compared))
    expected = [[name, " ".join(HEADS), *(" ".join(row) for row in rows), ""] for name, rows in SHOWN.items()]
    assert [" ".join(line.split()) for line in lines if not line.startswith("---")] == [
        *(line for part in expected for line in part), *NOTES, "", *(b["verdict"] for b in BRIDGES),
    ]  # fmt: skip


def test_devices_campaigns_and_courses_are_counted(compared: Compared) -> None:
    alone = Compared(tuple(e for e in compared.entries if e.campaign == "Weir"))
    for found, said in (
        (compared, "3 devices in 2 campaigns on 2 courses."), (alone, "2 devices in 1 campaign on 1 course."),
    ):  # fmt: skip
        assert f'<p class="counts">{said}</p>' in campaigns_page._texts(found)["compare.html"]


def test_a_road_of_one_campaign_alone_is_headed_so(compared: Compared) -> None:
    """A route without a line has no course: it is named after its campaign, and no other shares it."""
    alone = dataclasses.replace(compared.entries[0], course="Quay: out")
    assert next(campaigns_page.lines(Compared((alone,)))) == "no other campaign: Quay, route out"


def test_every_cell_and_sentence_of_the_page(texts: dict[str, Any]) -> None:
    page = html.fromstring(texts["compare.html"])
    said = [plain(p) for p in page.iter("p")]
    assert said[1] == "3 devices in 2 campaigns on 2 courses."
    assert said[2] == (
        "Cross-track error against Amber: Cobalt cannot be told apart, ratio 0.80 (0.63 to 1.01); "
        "Basalt 2.00 times as large (1.58 to 2.53)."
    )
    assert [plain(h) for h in page.iter("h2")][:2] == [ONE, TWO]
    tables = list(page.iter("table"))
    for table, rows in zip(tables, SHOWN.values(), strict=True):
        shown = [[plain(c) for c in tr.iterdescendants("td", "th")] for tr in table.iter("tr")]
        assert shown == [HEADS, *rows]
    items = [plain(li) for li in page.iter("li")]
    assert items[:3] == NOTES
    assert items[3:9] == [b["verdict"] for b in BRIDGES]
    assert not any("Not readable" in plain(h) for h in page.iter("h2"))


def test_marks_and_bars_stand_at_their_ratios(texts: dict[str, Any]) -> None:
    """The axis is logarithmic; the least ratio stands at the top, each device in its colour of the page."""
    picture = Picture(texts["compare.svg"])
    at = picture.axis({"0.7": np.log(0.7), "2": np.log(2.0)})
    names = {word: y for _, y, word in picture.words if word in RATIOS}
    assert sorted(names, key=names.__getitem__) == ["Cobalt", "Basalt"]
    for name, colour in (("Basalt", "#D55E00"), ("Cobalt", "#009E73")):
        value, low, high = RATIOS[name]
        (bar,) = picture.of(stroke=colour, stroke_width="2")
        assert np.exp(at(bar[:, 0])) == pytest.approx([low, high], rel=2e-3)
        (mark,) = picture.of(fill=colour)
        assert np.exp(at(middle(mark)[0])) == pytest.approx(value, rel=5e-3)
        assert middle(mark)[1] == pytest.approx(bar[0, 1], abs=1.0)
        assert names[name] == pytest.approx(bar[0, 1], abs=6.0)
    one = next(s for s in picture.of(stroke_width="1.2"))
    assert np.exp(at(one[:, 0])) == pytest.approx([1.0, 1.0], rel=1e-3)
    words = [word for *_, word in picture.words]
    assert {"0.80", "2.00", "2 campaigns · 3 devices", "ratio of cross-track errors"} <= set(words)
    title = " ".join(words)
    assert "Cross-track error against Amber: Cobalt not told apart (0.80 times), Basalt 2.00 times" in title


def test_each_file_of_the_figure_has_the_shape_of_its_name(texts: dict[str, Any]) -> None:
    """Of an SVG by its viewBox; of a PNG by its header, whose fifth and sixth words are width and height (PNG, 11.2.2)."""
    for name, is_square in (("compare", False), ("compare-square", True)):
        *_, width, height = html.fromstring(texts[f"{name}.svg"].encode()).xpath("//svg")[0].get("viewbox").split()
        assert (float(width) == float(height)) is is_square
        assert float(width) >= float(height)
        header = texts[f"{name}.png"][16:24]
        assert (header[:4] == header[4:]) is is_square


def test_what_is_written_beside(texts: dict[str, Any], compared: Compared, tmp_path: Any) -> None:
    paths = campaigns_page.write_compared(compared, tmp_path / "side")
    names = sorted(path.name for path in (tmp_path / "side").iterdir())
    assert sorted(path.name for path in paths) == names
    run = json.loads((tmp_path / "side" / "run.json").read_text("utf-8"))
    assert (run["compared"], run["files"]) == (["Quay", "Weir"], names)
    assert (tmp_path / "side" / "compare.csv").read_text("utf-8") == texts["compare.csv"]
    assert compared.carried == "Amber"
