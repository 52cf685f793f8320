"""A film of a ride: grey and dotted before the first fix, a clock that keeps the ride's time, files of a size to send."""

from __future__ import annotations

import dataclasses
import io
import subprocess
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from output_sample import sample
from PIL import Image, ImageColor, ImageSequence

from gpsq.exceptions import InputError, OutputError
from gpsq.model import NAT
from gpsq.output import wording
from gpsq.output.drawing.looks import device_looks
from gpsq.output.drawing.rendering import pixels
from gpsq.output.drawing.sheet import Line, Sheet, Text
from gpsq.output.replay import film
from gpsq.output.replay.moments import FILM_S, STAND_S, START_S, beginnings_s
from gpsq.output.replay.stage import moving

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.output.replay.stage import Stage
    from gpsq.results import Analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return sample()


@pytest.fixture(scope="module")
def stage(analysis: Analysis) -> Stage:
    return film.stage_of(analysis, "out 2")


def said(stage: Stage, film_s: float) -> list[str]:
    items = moving(stage, film_s).items
    return [item.text.replace("\N{NO-BREAK SPACE}", " ") for item in items if isinstance(item, Text)]


def fix_s(analysis: Analysis, device: str) -> float:
    pairs = zip(analysis.results, analysis.traces, strict=True)
    return next(r.first_fix.seconds for r, t in pairs if r.ride == "out 2" and t.device == device)


def test_the_film_runs_from_the_start_to_the_end_of_the_ride(analysis: Analysis, stage: Stage) -> None:
    """The rides of the sample are 1,500 m at 5 m/s: 300 s."""
    assert stage.moments.of(0.0) == 0.0
    assert stage.moments.of(FILM_S - STAND_S) == stage.moments.of(FILM_S) == pytest.approx(300.0)
    times = [stage.moments.of(s) for s in np.linspace(0, FILM_S, 50)]
    assert np.all(np.diff(times) >= 0)
    assert stage.moments.speed(1.0) == pytest.approx((stage.moments.of(2.0) - stage.moments.of(1.0)) / 1.0)
    assert stage.moments.speed(START_S + 1) == pytest.approx(
        stage.moments.of(START_S + 2) - stage.moments.of(START_S + 1)
    )
    assert "0:00" in said(stage, 0.0)
    assert "5:00" in said(stage, FILM_S)


def test_each_device_waits_in_grey_until_its_first_fix(analysis: Analysis, stage: Stage) -> None:
    """A moment before and after each fix, by the times of the recordings themselves."""
    moments = np.linspace(0.0, START_S, 400)
    rides = np.array([stage.moments.of(s) for s in moments])
    for device in ("Amber", "Basalt $x_1$ <b>", "Cobalt {{7*7}}"):
        colour, fixed = device_looks(analysis)[device].colour, fix_s(analysis, device)
        runner = next(r for r in stage.runners if r.device == device)
        assert runner.seconds[0] == pytest.approx(fixed, abs=3.0), "a place each second of road, none between"
        before, after = (float(moments[i]) for i in (np.searchsorted(rides, runner.seconds[0]) + d for d in (-2, 1)))
        assert any(text.startswith(f"{device}: no fix yet") for text in said(stage, before))
        after_s = wording.seconds(fixed).replace("\N{NO-BREAK SPACE}", " ")
        assert any(text.startswith(f"{device}: fixed after {after_s}") for text in said(stage, after))
        drawn_before, drawn_after = (
            {i.colour for i in moving(stage, s).items if isinstance(i, Line)} for s in (before, after)
        )
        assert colour not in drawn_before
        assert colour in drawn_after


def test_the_dots_before_a_fix_grow_to_what_was_missed(stage: Stage) -> None:
    def dotted(film_s: float) -> float:
        lines = [i for i in moving(stage, film_s).items if isinstance(i, Line) and i.dashes_pt]
        return max((float(np.hypot(*np.diff(line.xy_in, axis=0).T).sum()) for line in lines), default=0.0)

    lengths = [dotted(s) for s in (0.0, 2.0, 4.0, START_S, FILM_S)]
    assert lengths[0] < lengths[1] < lengths[2] <= lengths[3]
    longest = max(float(np.hypot(*np.diff(r.head_m, axis=0).T).sum()) for r in stage.overlay.rides if len(r.head_m))
    scale = max(panel.view.scale for panel in stage.panels)
    assert lengths[-1] == pytest.approx(longest * scale, rel=0.1)


def test_each_frame_is_what_stands_still_and_what_moves_and_nothing_of_the_frame_before(stage: Stage) -> None:
    """A frame painted on the canvas of the others against one painted afresh."""
    for second, frame in enumerate(film.frames(stage, 24, 1)):
        sheet = moving(stage, float(second))
        clock, *words = sheet.texts
        lines = [item for item in sheet.items if isinstance(item, Line)]
        afresh = Sheet(stage.still.width_in, stage.still.height_in, [*stage.still.items, *words, clock, *lines])
        assert np.array_equal(frame, pixels(afresh, 24)), second
    assert second == FILM_S


@pytest.fixture(scope="module")
def gif(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half as many frames as a film has, to spare time: its size is about half too."""
    path = tmp_path_factory.mktemp("film") / "ride.gif"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(film, "GIF", (film.GIF[0], film.GIF[1] // 2))
        film.write_film(analysis, "out 2", path)
    return path


def test_the_gif_is_short_small_and_in_the_devices_colours(analysis: Analysis, gif: Path) -> None:
    """Under 5 MB, 10 to 20 s, 16:9; its first, three middle and last frames show what they should."""
    assert 2 * gif.stat().st_size < 5_000_000
    with Image.open(io.BytesIO(gif.read_bytes())) as shown:
        assert shown.size == (960, 540)
        frames = [(frame.convert("RGB"), frame.info["duration"]) for frame in ImageSequence.Iterator(shown)]
    assert 10.0 <= sum(duration for _, duration in frames) / 1000 <= 20.0
    colours = [np.array(ImageColor.getrgb(look.colour)) for look in device_looks(analysis).values()]

    def painted(number: int) -> list[int]:
        pixels = np.asarray(frames[number][0]).astype(int)
        return [int((np.abs(pixels - colour).max(axis=-1) <= 3).sum()) for colour in colours]

    assert painted(0) == [0, 0, 0], "before any fix nothing has a device's colour"
    counts = [sum(painted(number)) for number in (1, len(frames) // 3, 2 * len(frames) // 3, -1)]
    assert counts == sorted(counts)
    assert all(count > 40 for count in painted(-1))


def test_an_mp4_is_made_where_there_is_ffmpeg(analysis: Analysis, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(film, "MP4", (film.MP4[0], 2))  # a tenth of the frames, to spare time
    try:
        coder = film.ffmpeg()
    except OutputError as missing:
        assert "pip install '.[video]'" in str(missing)  # noqa: PT017
        return
    out = tmp_path / "ride.mp4"
    film.write_film(analysis, "out 2", out)
    assert 10_000 < out.stat().st_size < 3_000_000
    told = subprocess.run([coder, "-hide_banner", "-i", str(out)], capture_output=True, text=True, check=False).stderr
    assert "h264" in told
    assert "1920x1080" in told
    assert "Duration: 00:00:15" in told


def test_a_film_that_cannot_be_written_leaves_the_earlier_one(
    analysis: Analysis, tmp_path: Path, monkeypatch: Any
) -> None:
    def half(_: Stage, out: Path) -> None:
        out.write_bytes(b"GIF89a")
        raise OSError(28, "No space left on device")

    earlier = tmp_path / "ride.gif"
    earlier.write_bytes(b"whole")
    monkeypatch.setattr(film, "_write_gif", half)
    with pytest.raises(OutputError, match=r"ride\.gif: cannot be written: No space left on device"):
        film.write_film(analysis, "out 2", earlier)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("ride.gif", b"whole")]


def test_without_ffmpeg_one_line_says_what_to_do(analysis: Analysis, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(film.shutil, "which", lambda _: None)
    monkeypatch.setitem(__import__("sys").modules, "imageio_ffmpeg", None)
    with pytest.raises(OutputError, match=r"found no ffmpeg; expected it, or pip install '.\[video\]'"):
        film.write_film(analysis, "out 2", tmp_path / "ride.mp4")


def test_a_package_without_a_coder_for_this_system_says_what_to_do(monkeypatch: Any) -> None:
    def missing() -> str:
        raise RuntimeError("No ffmpeg exe could be found.")

    monkeypatch.setattr(film.shutil, "which", lambda _: None)
    monkeypatch.setitem(__import__("sys").modules, "imageio_ffmpeg", SimpleNamespace(get_ffmpeg_exe=missing))
    with pytest.raises(OutputError, match="found no ffmpeg; expected it, or pip install"):
        film.ffmpeg()


@pytest.mark.parametrize(
    ("wanted", "ride"),
    [
        ("out 2", "out 2"),
        ("Tue 5 May 17:10", "back 2"),
        ("Amber/out-3.gpx", "out 3"),
        ("out-3.gpx", "out 3"),
        ("Wed 6 May", "out 3"),
    ],
)
def test_a_ride_is_known_by_name_day_or_file(analysis: Analysis, wanted: str, ride: str) -> None:
    assert film.ride_named(analysis, wanted) == ride


@pytest.mark.parametrize(
    ("wanted", "says"), [("nowhere", "the ride 'nowhere'"), ("Mon 4 May", "'Mon 4 May', which are 2 rides")]
)
def test_what_is_no_ride_or_several_is_said_with_those_there_are(analysis: Analysis, wanted: str, says: str) -> None:
    with pytest.raises(InputError, match=r"expected one of back 1 \(Mon 4 May 17:10\)") as refused:
        film.ride_named(analysis, wanted)
    assert says in str(refused.value)


def test_only_films_that_can_be_written_are_asked_for(analysis: Analysis, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"expected a name that ends in .gif or .mp4"):
        film.write_film(analysis, "out 2", tmp_path / "ride.avi")


def test_a_ride_without_times_cannot_be_played(analysis: Analysis) -> None:
    bare = [dataclasses.replace(t, time=np.full(t.accepted, NAT)) for t in analysis.traces]
    with pytest.raises(InputError, match="have no times"):
        film.stage_of(dataclasses.replace(analysis, traces=tuple(bare)), "out 2")


def test_clocks_that_are_hours_off_do_not_part_the_devices(analysis: Analysis) -> None:
    numbers = [i for i, r in enumerate(analysis.results) if r.ride == "out 2"]
    traces, results = [analysis.traces[i] for i in numbers], [analysis.results[i] for i in numbers]
    plain = beginnings_s(traces, results)
    late = dataclasses.replace(
        traces[0], time=traces[0].time + np.timedelta64(2, "h"), started=traces[0].started + np.timedelta64(2, "h")
    )
    fix = dataclasses.replace(results[0].first_fix, started=late.started)
    moved = beginnings_s([late, *traces[1:]], [dataclasses.replace(results[0], first_fix=fix), *results[1:]])
    for one, other in zip(plain, moved, strict=True):
        assert one is not None
        assert other is not None
        assert one == pytest.approx(other, abs=1.0)
