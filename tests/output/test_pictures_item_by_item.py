"""Every word, line, area and mark of every picture, from the lowest to the highest, wide and square, with its look.

Where they stand by their axes is in `test_by_hand_pictures.py`; here is what there is, and that nothing covers what it should not.
A line is "colour thickness dashes", an area "fill, how much of it", and each that is cut at the edge of its ground says so.
"""

from __future__ import annotations

from importlib.metadata import version

import pytest
from by_hand import by_hand

from gpsq.output.charts import all_charts
from gpsq.output.drawing.rendering import SQUARE, WIDE, drawn_sheet
from gpsq.output.drawing.sheet import INK, LEAF, RULE, SOFT, STREET, Line

COLOURS = {
    INK: "ink", SOFT: "soft", RULE: "rule", LEAF: "leaf", STREET: "street", "#0072B2": "amber", "#D55E00": "basalt"
}  # fmt: skip
SIZES = {"wide": WIDE[:2], "square": SQUARE[:2]}


def told(item):
    if isinstance(item, Line):
        edge = f"{COLOURS[item.colour]} {item.width_pt:g}" if item.colour else ""
        fill = f"{COLOURS[item.fill]}, {item.alpha:g}" if item.fill else "" if item.alpha == 1.0 else f"{item.alpha:g}"
        dashes = "-".join(f"{part:g}" for part in item.dashes_pt)
        more = [
            word for word, own in (("round", item.round_ends), ("closed", item.closed), ("cut", item.within)) if own
        ]
        return " ".join(part for part in (edge, dashes, fill, *more) if part)
    bold = " bold" if item.bold else ""
    aside = "" if item.anchor == "start" else f" {item.anchor}"
    return f"{item.text.replace(chr(160), ' ')} [{COLOURS[item.colour]} {item.size_pt:g}{bold}{aside}]"


# ---- words and lines by what they mean ----
def title(shape, *rows):
    return [f"{row} [ink {15 if shape == 'wide' else 13} bold]" for row in rows]


def small(*rows):
    return [f"{row} [soft 9]" for row in rows]


def margin(shape, campaign):
    source = f"Source: own recordings, measured by gpsq {version('gpsq')}"
    return [f"{campaign} [soft 9]", f"{source} [soft 9 end]" if shape == "wide" else f"{source} [soft 9]"]


def mark(device):
    return [f"leaf 1 {device}, 1 closed"]


def hollow(device):
    return [f"{device} 1 leaf, 1 closed"]


def key_of_marks(shape, *names):
    return [
        item for name in names for item in (*mark(name.split(":")[0].lower()), f"{name} [ink {11 if shape == 'wide' else 9}]")
    ]  # fmt: skip


def key_of_lines(shape):
    size = 11 if shape == "wide" else 9
    return ["amber 2.2", f"Amber [ink {size}]", "basalt 2.2 3.5-1.5", f"Basalt [ink {size}]"]


def level(labels, title_, rules=True):
    ticks = [item for label in labels for item in (["rule 0.7"] if rules else []) + [f"{label} [ink 9 middle]"]]
    return ["soft 0.9", *ticks, *small(title_)]


def upright(*labels):
    return [item for label in labels for item in ("rule 0.7", f"{label} [ink 9 end]")]


def flown(device, said):
    return [f"{device} 1.1", f"{device} 1.1 leaf, 1 closed", f"{said} [ink 9]", *mark(device)]


HEADS = {name: f"{name} 2.4 0.1-4.4 0.75 round cut" for name in ("amber", "basalt")}
GROUND = ["ink, 0.09 closed cut", "rule 3.2 cut"]
LEFT = "ink 6 0.1 cut"
SIGNS = ["ink 1.4", "ink 1.4", "ink 1.4", "N [ink 9 bold middle]"]
ENDS = ["ink 1.6", "start [ink 9 bold]", "ink 1.6", "ink 1.6", "finish [ink 9 bold]"]
ALL = "Quay and weir · 3 rides, 4 recordings · 4–6 May 2026"
ONE = "Quay and weir · 1 ride, 2 recordings · 4–6 May 2026"
LONE = "Quay and weir · Basalt, 1 ride · 4–6 May 2026"


def ridden(*colours):
    return [f"{colour} 1 0.5 cut" for colour in colours]


def overlay_out(shape):
    """The first stretch below the way, where both flags fly; Basalt's line is cut at its gap, both left the road."""
    wide = shape == "wide"
    said = ["Route out: fixed within 30 s on 1 of 2 recordings; Mon left the usual road"]
    key = [
        "Flag: first fix, seconds since the start. Dotted: ridden before it, not recorded. Pale: centreline and usual spread."
    ]
    if not wide:
        said = ["Route out: fixed within 30 s on 1 of 2", "recordings; Mon left the usual road"]
        key = [
            "Flag: first fix, seconds since the start. Dotted: ridden before it,",
            "not recorded. Pale: centreline and usual spread.",
        ]
    named = (
        ["Mon: receiver error, 53 m off", "Mon: another road, it seems, 41 m off, 2 devices"]
        if wide
        else ["Mon: 53 m off"]
    )
    return [
        *margin(shape, ONE), *title(shape, *said), *small(*key), *key_of_marks(shape, "Amber: 1 of 1", "Basalt: 0 of 1"),
        "rule 1", *GROUND, LEFT, *ridden("amber", "basalt"), *HEADS.values(),
        "The first 203 m, enlarged [ink 9 bold]", "ink 1.4", f"{20 if wide else 50} m [ink 9]",
        *flown("amber", "Mon 23 s"), *flown("basalt", "Mon 59 s"),
        *GROUND, LEFT, LEFT, *ridden("amber", "basalt", "basalt"), *["soft 1.3 cut"] * 4, *HEADS.values(),
        *mark("amber"), *mark("basalt"), "soft 0.8 cut", "ink 1.4", f"{100 if wide else 200} m [ink 9]", *SIGNS, *ENDS,
        *(item for one in named for item in ("soft 0.7", f"{one} [ink 9]")), *small("Mon ended 219 m early"),
    ]  # fmt: skip


def overlay_home(shape):
    wide = shape == "wide"
    said, key = ["Route home: 12 m of road lost before the first fix (median)"], [
        "Flag: first fix, seconds since the start (≈: worked out, as no start is recorded). Dotted: ridden before it, not "
        "recorded. Pale: centreline and usual spread."
    ]  # fmt: skip
    if not wide:
        said = ["Route home: 12 m of road lost before", "the first fix (median)"]
        key = [
            "Flag: first fix, seconds since the start (≈: worked out, as no start",
            "is recorded). Dotted: ridden before it, not recorded. Pale:", "centreline and usual spread.",
        ]  # fmt: skip
    return [
        *margin(shape, LONE), *title(shape, *said), *small(*key), *GROUND, *ridden("basalt"), *["soft 1.3 cut"] * 4,
        HEADS["basalt"], "ink 1.4", f"{50 if wide else 100} m [ink 9]", *SIGNS, *ENDS, *flown("basalt", "Wed ≈ 17 s"),
    ]  # fmt: skip


ROW = ["leaf, 1 closed"]
GREY, MEDIAN, END_OF_ROW = "ink, 0.1 closed", "ink 2.2", "rule 0.8"
WORKED_OUT = ["basalt, 0.35 closed", "basalt 2", "Wed ≈ 17 s [ink 9]"]


def heading(shape, name, said):
    return [*ROW, f"{name} [ink {11 if shape == 'wide' else 9} bold]", f"{said} [ink 9 end]"]


def first_fix(shape):
    """A row for each device and way; on the square sheet one for each device, its ways in it one below the other."""
    if shape == "wide":
        ticks = ["≤ 1 s", "2 s", "5 s", "10 s", "20 s", "30 s", "60 s", "2 min", "5 min", "10 min"]
        return [
            *margin(shape, ALL), *title(shape, "Fixed within 30 s on 0 of 1 rides (Basalt), 1 of 2 (Amber)"),
            *small("A mark for each ride; hollow with a line: at least this long. Upright bar: median. Bar: worked out, from the "
                   "least to the most; the start is not recorded.", "Grey: its interval."),
            *level(ticks, "from the start of the recording to its first fix; the axis is logarithmic"),
            *heading(shape, "Amber", "0 of 1 in 30 s"), *flown("amber", "Tue ≥ 10 min 14 s")[:-1], "amber 1.4 1.5-2",
            *hollow("amber"), END_OF_ROW,
            *heading(shape, "Amber, out", "1 of 1 in 30 s, median 37 s"), GREY, MEDIAN, *flown("amber", "Mon 23 s"),
            END_OF_ROW,
            *heading(shape, "Basalt, home", "median 9.7 s, 1 worked out"), MEDIAN, *WORKED_OUT, END_OF_ROW,
            *heading(shape, "Basalt, out", "0 of 1 in 30 s"), *flown("basalt", "Mon 59 s"), END_OF_ROW,
        ]  # fmt: skip
    return [
        *margin(shape, ALL), *title(shape, "Fixed within 30 s on 0 of 1 rides", "(Basalt), 1 of 2 (Amber)"),
        *small("A mark for each ride; hollow with a line: at least this long.",
               "Upright bar: median. Bar: worked out, from the least to the most;",
               "the start is not recorded. Grey: its interval."),
        *level(["≤ 1 s", "3 s", "10 s", "30 s", "2 min", "10 min"], "start to first fix; logarithmic axis"),
        *heading(shape, "Amber, out", "0 of 1; out 1 of 1"), "amber 1.4 1.5-2", *hollow("amber"), GREY, MEDIAN, *mark("amber"),
        END_OF_ROW,
        *heading(shape, "Basalt, home above out", "home 1 worked out; out 0 of 1"), MEDIAN, *WORKED_OUT, *mark("basalt"),
        END_OF_ROW,
    ]  # fmt: skip


def missed(shape):
    """A bar for each ride of a way; on the square sheet, where two devices share one, a tick for each ride and the median."""
    wide = shape == "wide"
    out = [*level(["start", "50", "100", "150"], "metres along the road")]
    home = [*level(["start", "5", "10", "15", "20"], "metres along the road")]
    lone = [*mark("basalt"), "Wed [ink 9]", "basalt, 1 closed", "12 m [ink 9]"]
    key = "Ridden before the first fix, along the road; ≥: at least; what runs"
    if wide:
        said = ["Road lost before the first fix: at least 55 m (Basalt) to 81 m (Amber) in the", "median"]
        rows = [
            *mark("amber"), "Mon [ink 9]", "amber, 1 closed", "ink 1", "61 m [ink 9]",
            *mark("basalt"), "Mon [ink 9]", "basalt, 1 closed", "≥ 179 m [ink 9]",
        ]  # fmt: skip
        own = small(f"{key} out of the picture was longer. Thin line: as far as the place of the start is known.")
        own += key_of_marks(shape, "Amber", "Basalt")
    else:
        said = ["Road lost before the first fix: at least", "55 m (Basalt) to 81 m (Amber) in the", "median"]
        rows = [
            "Amber [ink 9]", "rule 0.8", "amber 1.4 0.55", MEDIAN, "61 m [ink 9]",
            "Basalt [ink 9]", "rule 0.8", "basalt 1.4 0.55", MEDIAN, "≥ 179 m [ink 9]",
        ]  # fmt: skip
        own = small(key, "out of the picture was longer.")
    return [
        *margin(shape, ALL), *title(shape, *said), *own, "Route out, 621 m [ink 11 bold]", *out, *rows,
        "Route home, 408 m [ink 11 bold]", *home, *lone,
    ]  # fmt: skip


def along_route(shape):
    """Places of most scatter and the spread lie below the rules, and these below the curves."""
    wide = shape == "wide"
    said = ["Recordings scatter most at 0.52 to 0.62 km of route out: spread 13 m"]
    key = [
        "Line: median offset of a device, left of travel up. Grey band: usual spread. Grey block: where most scatter is."
    ]
    if not wide:
        said = ["Recordings scatter most at 0.52 to", "0.62 km of route out: spread 13 m"]
        key = [
            "Line: median offset of a device, left of travel up. Grey band:",
            "usual spread. Grey block: where most scatter is.",
        ]
    return [
        *margin(shape, ALL), *title(shape, *said), *small(*key), *key_of_lines(shape), "Route out [ink 9 bold]",
        GREY, GREY, "ink, 0.12 closed", *upright("−10 m", "0 m", "10 m"), "amber 1.8", "basalt 1.8 3.5-1.5",
        *level(["0", "0.1", "0.2", "0.3", "0.4", "0.5", "0.6"], "kilometres along the road", rules=False),
        "8.7 m [ink 9 bold middle]", "13 m [ink 9 bold middle]",
    ]  # fmt: skip


def distribution(shape):
    wide = shape == "wide"
    said = ["95 % of the road within 8.5 m (Amber) to 16 m (Basalt) of the centreline"]
    key = [
        "Higher is better: more of the road within that distance of the centreline, which is made without the ride judged."
    ]
    if not wide:
        said = ["95 % of the road within 8.5 m (Amber)", "to 16 m (Basalt) of the centreline"]
        key = [
            "Higher is better: more of the road within that distance of the",
            "centreline, which is made without the ride judged.",
        ]
    return [
        *margin(shape, ALL), *title(shape, *said), *small(*key), *key_of_lines(shape),
        *upright("0 %", "25 %", "50 %", "75 %", "95 %"), *level(map(str, range(0, 19, 2)), "metres from the centreline"),
        "amber 2.4", "basalt 2.4 3.5-1.5", *mark("amber"), "8.5 m [ink 9 bold middle]", *mark("basalt"),
        "16 m [ink 9 bold middle]",
    ]  # fmt: skip


WANTED = {
    "overlay-out": overlay_out, "overlay-home": overlay_home, "first-fix": first_fix, "missed": missed,
    "error-along-route": along_route, "error-distribution": distribution,
}  # fmt: skip


@pytest.fixture(scope="module")
def drawings():
    return all_charts.drawings(by_hand())


@pytest.mark.parametrize("shape", SIZES)
def test_every_item_of_every_picture(drawings, shape):
    assert [drawing.name for drawing in drawings] == list(WANTED)
    for drawing in drawings:
        assert [told(item) for item in drawn_sheet(drawing, *SIZES[shape]).items] == WANTED[drawing.name](shape)


def test_every_picture_of_a_publication_says_so():
    """And the key of the shares, what its curves and its marks are of."""
    for drawing in all_charts.drawings(by_hand(published=True)):
        said = [told(item) for item in drawn_sheet(drawing, *SIZES["wide"]).items if not isinstance(item, Line)]
        cut = f"Source: own recordings, measured by gpsq {version('gpsq')}; ends cut, first fixes moved along the road"
        assert any(text.startswith(cut) for text in said), drawing.name
        if drawing.name.startswith("overlay"):
            assert {"shown from [ink 9 bold]", "shown to [ink 9 bold]"} <= set(said)
            assert not {"start [ink 9 bold]", "finish [ink 9 bold]"} & set(said)
        if drawing.name == "error-distribution":
            assert "Marks: of the whole road; curves: of the part shown." in " ".join(
                text.split(" [")[0] for text in said
            )
