"""How films are written: their frames, rate, size and colours, with a coder and frames made by hand."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample
from PIL import Image

from gpsq.exceptions import InputError, OutputError
from gpsq.output.drawing.sheet import INK, LEAF, RULE, SOFT, STREET
from gpsq.output.replay import film
from gpsq.output.replay.moments import FILM_S

SIZE = (4, 6)
COLOURS = ("#ff0000", "#00ff00", "#0000ff")


def rgb(colour):
    return [int(colour[k : k + 2], 16) for k in (1, 3, 5)]


def three_frames(*_):
    for colour in COLOURS:
        yield np.full((*SIZE, 4), [*rgb(colour), 255], dtype=np.uint8)


@pytest.fixture
def stage():
    return film.stage_of(sample(), "out 2")


def test_a_gif_has_every_frame_for_an_eighth_of_a_second_and_plays_for_ever(stage, tmp_path, monkeypatch):
    monkeypatch.setattr(film, "frames", three_frames)
    monkeypatch.setattr(film, "_palette", lambda _: palette_of(COLOURS))
    film._write_gif(stage, tmp_path / "ride.gif")
    with Image.open(tmp_path / "ride.gif") as shown:
        assert (shown.size, shown.n_frames, shown.info["loop"]) == (SIZE[::-1], 3, 0)
        for number, colour in enumerate(COLOURS):
            shown.seek(number)
            assert shown.convert("RGB").getpixel((2, 2)) == tuple(rgb(colour))
            assert shown.info["duration"] in {120, 130, 125}  # GIF 89a counts in hundredths of a second


def palette_of(colours):
    made = Image.new("P", (1, 1))
    made.putpalette([part for colour in colours for part in rgb(colour)])
    return made


def test_the_palette_has_every_colour_that_is_drawn_and_its_blends_with_the_sheet():
    made = film._palette(["#d55e00", "#0072b2"])
    colours = np.array(made.getpalette()).reshape(-1, 3)[: 1 + 6 * 6].tolist()
    drawn = [INK, SOFT, RULE, STREET, "#d55e00", "#0072b2"]
    assert colours[0] == rgb(LEAF)
    for k, colour in enumerate(drawn):
        leaf, whole = np.array(rgb(LEAF)), np.array(rgb(colour))
        for step in range(1, 7):
            assert colours[6 * k + step] == pytest.approx((leaf + (whole - leaf) * step / 6).tolist(), abs=0.51)
        assert colours[6 * k + 6] == rgb(colour)


def test_frames_are_as_many_as_the_film_has_eighths_of_a_second(stage):
    assert sum(1 for _ in film.frames(stage, 8, 2)) == 2 * FILM_S + 1
    (width, height), (dpi, per_second) = film.SIZE_IN, film.GIF
    assert (width * dpi, height * dpi, per_second) == (960.0, 540.0, 8)
    assert (width * film.MP4[0], height * film.MP4[0], film.MP4[1]) == (1920.0, 1080.0, 20)


@pytest.mark.skipif(os.name != "posix", reason="the coder is a script of a shell")
def test_a_film_goes_to_the_coder_frame_by_frame(stage, tmp_path, monkeypatch):
    coder = tmp_path / "coder"
    coder.write_text('#!/bin/sh\nfor last; do :; done\ncat > "$last"\necho "$*" > "$last.said"\n')
    coder.chmod(0o755)
    monkeypatch.setattr(film, "ffmpeg", lambda: str(coder))
    monkeypatch.setattr(film, "frames", three_frames)
    out = tmp_path / "ride.mp4"
    film._write_mp4(stage, out)
    assert out.read_bytes() == b"".join(frame.tobytes() for frame in three_frames())
    said = (tmp_path / "ride.mp4.said").read_text()
    assert "-pix_fmt rgb0 -s 1920x1080 -r 20 -i -" in said
    assert "-c:v libx264 -pix_fmt yuv420p" in said
    for script, why in (
        ("echo first >&2; echo no such codec >&2; exit 1", "no such codec"),
        ("exit 3", "no reason given"),
    ):
        coder.write_text(f"#!/bin/sh\n{script}\n")
        with pytest.raises(OutputError, match=f"^MP4: ffmpeg could not write it: {why}$"):
            film._write_mp4(stage, out)


def test_a_device_says_what_it_missed_only_where_that_is_known():
    analysis = sample()
    number = next(i for i, r in enumerate(analysis.results) if r.ride == "out 2" and np.isfinite(r.first_fix.missed_m))
    known = film.stage_of(analysis, "out 2").runners[0].missed.replace("\xa0", " ")
    assert known.endswith(" m")
    first = replace(
        analysis.results[number], first_fix=replace(analysis.results[number].first_fix, missed_m=float("nan"))
    )
    results = (*analysis.results[:number], first, *analysis.results[number + 1 :])
    assert film.stage_of(replace(analysis, results=results), "out 2").runners[0].missed == ""


def test_of_rides_without_a_fix_only_that_of_the_film_is_told():
    whole = by_hand()
    never = replace(whole.results[2], route="out")
    found = replace(whole, results=(*whole.results[:2], never, whole.results[3]))
    assert film._overlay(found, "R01").never_fixed == ()
    assert [r.ride for r in film._overlay(found, "R02").never_fixed] == ["R02"]
    assert [r.ride for r in film._overlay(found, "R01").rides] == ["R01", "R01"]
    assert list(film._overlay(found, "R02").looks) == ["Amber"]
    assert film._overlay(found, "R09") is None


def test_a_ride_whose_devices_are_on_several_pictures_is_played_with_all_of_them(monkeypatch):
    """Where many devices have a picture each, one film holds all that were on the ride."""
    (whole,) = [o for o in film.overlays(by_hand()) if any(r.ride == "R01" for r in o.rides)]
    own = [r for r in whole.rides if r.ride == "R01"]
    assert len({r.device for r in own}) == 2
    apart = [replace(whole, rides=tuple(r for r in whole.rides if r.device == one.device)) for one in own]
    monkeypatch.setattr(film, "overlays", lambda _: apart)
    together = film._overlay(by_hand(), "R01")
    assert list(together.rides) == own
    assert set(together.looks) == {r.device for r in own}


def test_a_copy_of_a_recording_is_not_played_a_second_time():
    whole = sample()
    own = [i for i, r in enumerate(whole.results) if r.ride == "out 2"]
    assert len(film.stage_of(whole, "out 2").runners) == len(own) == 3
    results = list(whole.results)
    results[own[1]] = replace(results[own[1]], duplicate_of="another.gpx")
    played = film.stage_of(replace(whole, results=tuple(results)), "out 2").runners
    assert [runner.device for runner in played] == [whole.traces[i].device for i in (own[0], own[2])]


@pytest.mark.parametrize(
    ("wanted", "ride"),
    [
        ("R01", "R01"), ("Mon 4 May", "R01"), ("Tue 5 May 07:03", "R02"), ("basalt/wed.gpx", "R03"), ("wed.gpx", "R03"),
        ("4 May 07:00", None), ("07:00", None), ("R0", None), ("gpx", None), ("mon.gpx", "R01"), ("R09", None),
    ],
)  # fmt: skip
def test_a_ride_is_meant_by_its_name_the_beginning_of_its_day_or_one_of_its_files(wanted, ride):
    """Amber and Basalt rode on Monday under the same name of a file, on one ride."""
    if ride:
        assert film.ride_named(by_hand(), wanted) == ride
        return
    with pytest.raises(InputError) as refused:
        film.ride_named(by_hand(), wanted)
    assert str(refused.value) == (
        f"gpsq replay: found the ride {wanted!r}; expected one of R01 (Mon 4 May 07:00), R02 (Tue 5 May 07:03), "
        "R03 (Wed 6 May 17:20)"
    )


def test_a_name_that_several_rides_answer_to_is_refused():
    later = replace(by_hand().results[3], ride="R04")
    both = replace(by_hand(), results=(*by_hand().results[:3], later), traces=by_hand().traces)
    several = replace(both, traces=(*both.traces[:3], replace(both.traces[0], file="basalt/mon.gpx")))
    with pytest.raises(InputError, match=r"found 'mon\.gpx', which are 2 rides; expected one of R01 "):
        film.ride_named(several, "mon.gpx")
