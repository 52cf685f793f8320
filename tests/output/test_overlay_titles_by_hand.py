"""The finding of an overlay picture, its key and what it leaves out, word for word, on rides made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from by_hand import by_hand

from gpsq.model import FirstFix
from gpsq.output.overlay import titles
from gpsq.output.overlay.rides import LeftRoad, overlays

NAN = float("nan")


@pytest.fixture(scope="module")
def out():
    return overlays(by_hand())[0]


def plain(text):
    return text.replace("\xa0", " ").replace("\u202f", " ")


def of(out, *fixes, days=None, **more):
    """Return the overlay with rides of such first fixes, each on a day of its own."""
    names = days or ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    rides = [replace(out.rides[0], fix=fix, ride=day, day=day) for fix, day in zip(fixes, names, strict=False)]
    fields = {"never_fixed": (), "left_road": (), "drawn": tuple(rides)} | more
    return replace(out, rides=tuple(rides), **fields)


def missed(metres, is_minimum=False):
    return FirstFix("none", missed_m=metres, missed_is_minimum=is_minimum)


@pytest.mark.parametrize(
    ("fixes", "said"),
    [
        ([missed(30.0), missed(50.0), missed(90.0)], "50 m of road lost before the first fix (median)"),
        ([missed(30.0), missed(50.0, True), missed(90.0)], "at least 50 m of road lost before the first fix (median)"),
        ([missed(30.0), missed(NAN), missed(90.0)], "60 m of road lost before the first fix (median)"),
        ([missed(0.0), missed(0.04)], "no road is known to be lost before the first fix (median)"),
        ([missed(0.06)], "0.1 m of road lost before the first fix (median)"),
        ([missed(NAN)], "start unknown"),
        ([missed(NAN)] * 2, "2 recordings; when they were started is unknown"),
    ],
)
def test_what_of_the_road_was_missed(out, fixes, said):
    assert plain(titles.missed_sentence(of(out, *fixes).rides)) == said


def off(day, suggestion="route choice", flag=""):
    return LeftRoad(day, ("Amber",), suggestion, flag, 41.0, "left", 0.0, 9.0, ())


def test_who_left_the_road_is_named_up_to_two_in_order_of_the_rides(out):
    three = of(out, missed(50.0), missed(50.0), missed(50.0))

    def said(*left):
        return plain(titles._other_road(replace(three, left_road=left)))

    assert said() == ""
    assert said(off("Mon")) == "; Mon left the usual road"
    assert said(off("Tue"), off("Mon"), off("Mon")) == "; Mon and Tue left the usual road"
    assert said(off("Wed"), off("Tue"), off("Mon")) == "; 3 rides left the usual road"
    assert said(off("Mon", "receiver error")) == ""
    assert said(off("Mon", "receiver error", "intentional")) == "; Mon left the usual road"
    assert said(off("Mon", "route choice", "error")) == ""
    assert said(off("Mon", "")) == "; Mon left the usual road"
    assert said(off("Sun")) == ""
    assert plain(titles.finding(replace(three, left_road=(off("Mon"),)))) == (
        "Route out: 50 m of road lost before the first fix (median); Mon left the usual road"
    )


def test_how_many_were_fixed_soon_is_said_of_rides_where_there_is_one_device(out):
    fixes = [FirstFix("log", seconds=s) for s in (5.0, 29.0, 31.0)]
    both = of(out, *fixes)
    assert plain(titles.finding(both)) == "Route out: fixed within 30 s on 2 of 3 recordings"
    one = replace(both, looks={"Amber": both.looks["Amber"]})
    assert plain(titles.finding(one)) == "Route out: fixed within 30 s on 2 of 3 rides"
    never = replace(both.rides[0], fix=FirstFix("log", at_least_s=900.0, censored=True))
    assert plain(titles.finding(replace(one, never_fixed=(never,)))) == "Route out: fixed within 30 s on 2 of 4 rides"
    basalt = replace(both.rides[0], device="Basalt", fix=FirstFix("none"))
    counted = titles.device_counts(replace(both, rides=(*both.rides, basalt), never_fixed=(never,)))
    assert {name: plain(said) for name, said in counted.items()} == {
        "Amber": "Amber: 2 of 4", "Basalt": "Basalt: start unknown",
    }  # fmt: skip


LAST = "Dotted: ridden before it, not recorded. Pale: centreline and usual spread."
SECONDS, WORKED_OUT = FirstFix("log", seconds=5.0), FirstFix("none", estimate_s=9.0)


@pytest.mark.parametrize(
    ("fixes", "said"),
    [
        ([SECONDS], "seconds since the start."),
        ([missed(9.0)], "metres missed; no start is known, so no seconds."),
        ([SECONDS, WORKED_OUT], "seconds since the start (≈: worked out, as no start is recorded)."),
        ([SECONDS, missed(9.0)], "seconds since the start (metres missed, where no start is known)."),
        (
            [WORKED_OUT, missed(9.0)],
            "seconds since the start (≈: worked out, as no start is recorded) (metres missed, where no start is known).",
        ),
        ([replace(SECONDS, estimate_s=9.0)], "seconds since the start."),
        ([FirstFix("log", at_least_s=9.0)], "seconds since the start."),
    ],
)
def test_what_the_signs_mean(out, fixes, said):
    assert plain(titles.key(of(out, *fixes))) == f"Flag: first fix, {said} {LAST}"


def test_what_is_left_out_is_said(out):
    rides = of(out, *[missed(9.0)] * 3)
    assert titles.asides(rides, ()) == []
    never = [replace(rides.rides[0], day=day) for day in ("Mon", "Mon", "Tue", "Wed", "Thu", "Fri")]
    assert titles.asides(replace(rides, never_fixed=tuple(never[:2]), drawn=(*rides.drawn, *never[:2])), ()) == [
        "never fixed: Mon"
    ]
    assert titles.asides(replace(rides, never_fixed=tuple(never[:5]), drawn=(*rides.drawn, *never[:5])), ()) == [
        "never fixed: Mon, Tue, Wed, Thu"
    ]
    assert titles.asides(replace(rides, never_fixed=tuple(never), drawn=(*rides.drawn, *never)), ()) == [
        "never fixed: Mon, Tue, Wed, Thu and more"
    ]
    early = tuple(replace(ride, ended_early_m=m) for ride, m in zip(rides.rides, (NAN, 300.0, 500.0), strict=True))
    assert [plain(t) for t in titles.asides(replace(rides, rides=early), ())] == [
        "2 recordings ended up to 500 m early"
    ]
    assert [plain(t) for t in titles.asides(replace(rides, rides=early[:2], drawn=early[:2]), ())] == [
        "Tue ended 300 m early"
    ]
    assert titles.asides(replace(rides, drawn=rides.drawn[:1]), ()) == ["1 of 3 recordings drawn"]
    bare = replace(rides.rides[0], pieces_m=())
    assert titles.asides(replace(rides, rides=(*rides.rides, bare)), ()) == []
    assert [plain(t) for t in titles.asides(rides, of(out, missed(9.0), missed(70.0), missed(NAN)).rides)] == [
        "3 more fixed within 70 m of the start"
    ]
    assert titles.asides(rides, of(out, missed(NAN)).rides) == ["1 more fixed, without a flag"]
