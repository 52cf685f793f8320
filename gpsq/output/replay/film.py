"""Films of a ride: GIF by pillow; MP4 (H.264, ISO/IEC 14496-10) where ffmpeg is found."""

from __future__ import annotations

import dataclasses
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.exceptions import InputError, OutputError
from gpsq.output import wording
from gpsq.output.drawing.flags import flag_text
from gpsq.output.drawing.lines import parts
from gpsq.output.drawing.looks import device_looks
from gpsq.output.drawing.rendering import Canvas
from gpsq.output.drawing.sheet import INK, LEAF, RULE, SOFT, STREET, Line, Text
from gpsq.output.overlay.rides import overlays
from gpsq.output.replay.moments import FILM_S, Runner, beginnings_s, moments
from gpsq.output.replay.stage import Stage, moving, set_up
from gpsq.output.ride_days import long_names

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from gpsq.output.overlay.rides import Overlay
    from gpsq.results import Analysis

SIZE_IN = (10.0, 5.625)
#: Dots per inch and frames a second: a GIF of 960 × 540, a film of 1920 × 1080.
GIF, MP4 = (96, 8), (192, 20)
#: Steps from a colour to the sheet's own, for edges and what is half transparent.
BLENDS = 6
MOST_COLOURS = 30
KINDS = (".gif", ".mp4")


def ride_named(analysis: Analysis, wanted: str) -> str:
    """Return the ride that a person means by its name, its day and time as the map says it, or one of its files.

    Raises
    ------
    InputError
        When nothing is called so, or more than one ride.
    """
    names = long_names(analysis)
    found = {
        result.ride
        for trace, result in zip(analysis.traces, analysis.results, strict=True)
        if result.ride
        and (wanted in {result.ride, trace.file, Path(trace.file).name} or names[result.ride].startswith(wanted))
    }
    if len(found) == 1:
        return found.pop()
    known = ", ".join(f"{ride} ({name})" for ride, name in sorted(names.items()))
    said = f"the ride {wanted!r}" if not found else f"{wanted!r}, which are {len(found)} rides"
    raise InputError("gpsq replay", said, f"one of {known or 'none: no recording is part of a ride'}")


def stage_of(analysis: Analysis, ride: str) -> Stage:
    """Return the stage of a ride.

    Raises
    ------
    InputError
        When no recording of it has both times and a way.
    """
    numbers = [i for i, result in enumerate(analysis.results) if result.ride == ride and not result.duplicate_of]
    traces, results = [analysis.traces[i] for i in numbers], [analysis.results[i] for i in numbers]
    overlay = _overlay(analysis, ride)
    runners = []
    for trace, result, seconds in zip(traces, results, beginnings_s(traces, results), strict=True):
        if overlay is None or seconds is None or result.route != overlay.found.route.name:
            continue
        xy_m = overlay.found.route.plane.to_metres(trace.lon_deg, trace.lat_deg)
        fix = result.first_fix
        missed = wording.missed(fix) if wording.says_missed(fix) else ""
        unbroken = [len(part) for part in parts(trace, result)]
        piece = np.repeat(np.arange(len(unbroken)), unbroken)
        known = bool(np.isfinite(fix.seconds))
        runners.append(Runner(trace.device, seconds, xy_m, known, flag_text(fix), missed, piece))
    if overlay is None or not runners:
        raise InputError(
            "gpsq replay", f"the ride {ride}, whose recordings have no times or no way", "a ride with both"
        )
    return set_up(analysis, overlay, ride, runners, moments(runners), SIZE_IN)


def _overlay(analysis: Analysis, ride: str) -> Overlay | None:
    """Return what an overlay would show of the ride alone, with all its devices."""
    found = [o for o in overlays(analysis) if any(r.ride == ride for r in (*o.rides, *o.never_fixed))]
    if not found:
        return None
    own = [dataclasses.replace(o, rides=tuple(r for r in o.rides if r.ride == ride)) for o in found]
    devices = {r.device for o in own for r in o.rides} | {
        r.device for o in found for r in o.never_fixed if r.ride == ride
    }
    looks = {name: look for name, look in device_looks(analysis).items() if name in devices}
    return dataclasses.replace(
        own[0],
        looks=looks,
        rides=tuple(r for o in own for r in o.rides),
        never_fixed=tuple(r for o in found for r in o.never_fixed if r.ride == ride),
        left_road=(),
        drawn=(),
    )


def frames(stage: Stage, dpi: int, per_second: int) -> Iterator[NDArray[np.uint8]]:
    """Yield the frames of a film, (height, width, 4) pixels that the next frame takes.

    Words are the dearest to draw and most of them seldom change, so all but the clock's digits lie with what stands still.
    """
    canvas = Canvas(stage.still.width_in, stage.still.height_in, dpi)
    standing: list[Text] | None = None
    for number in range(round(FILM_S * per_second) + 1):
        sheet = moving(stage, number / per_second)
        clock, *words = sheet.texts
        if words != standing:
            standing = words
            canvas.keep([*stage.still.items, *words])
        yield canvas.over([clock, *(item for item in sheet.items if isinstance(item, Line))])


def write_film(analysis: Analysis, ride: str, out: Path) -> None:
    """Write the film of a ride, in the kind that the file's name ends in.

    Raises
    ------
    InputError
        When the name ends in nothing that can be written, or the ride cannot be played.
    OutputError
        When there is no ffmpeg for an MP4, or the file cannot be written.
    """
    if out.suffix.lower() not in KINDS:
        raise InputError("gpsq replay", f"a film named {out.name}", "a name that ends in " + " or ".join(KINDS))
    stage = stage_of(analysis, ride)
    aside = out.with_name(f".aside{out.suffix}")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        try:
            (_write_gif if out.suffix.lower() == ".gif" else _write_mp4)(stage, aside)
            aside.replace(out)  # an earlier film is whole until then
        finally:
            aside.unlink(missing_ok=True)
    except OSError as failed:
        raise OutputError(f"{out}: cannot be written: {failed.strerror or failed}") from failed


def _write_gif(stage: Stage, out: Path) -> None:
    """Write a GIF: one palette for all frames, so that only what moves is written anew."""
    from PIL import Image

    dpi, per_second = GIF
    palette = _palette([look.colour for look in stage.overlay.looks.values()])
    pictures = (Image.fromarray(frame).convert("RGB") for frame in frames(stage, dpi, per_second))
    drawn = [picture.quantize(palette=palette, dither=Image.Dither.NONE) for picture in pictures]
    drawn[0].save(out, save_all=True, append_images=drawn[1:], duration=round(1000 / per_second), loop=0, optimize=True)


def _palette(devices: Sequence[str]) -> Any:
    """Return a picture with the palette of a film: every colour that is drawn, and its blends with the sheet."""
    from PIL import Image, ImageColor

    leaf = np.array(ImageColor.getrgb(LEAF))
    drawn = [np.array(ImageColor.getrgb(colour)) for colour in (INK, SOFT, RULE, STREET, *devices[:MOST_COLOURS])]
    shares = np.linspace(0.0, 1.0, BLENDS + 1)[1:]
    colours = [leaf, *(leaf + share * (colour - leaf) for colour in drawn for share in shares)]
    made = Image.new("P", (1, 1))
    made.putpalette(np.rint(colours).astype(np.uint8).ravel().tolist())
    return made


def ffmpeg() -> str:
    """Return the path of ffmpeg: on this computer, or as the package imageio-ffmpeg brings it.

    Raises
    ------
    OutputError
        When there is none.
    """
    if found := shutil.which("ffmpeg"):
        return found
    try:
        import imageio_ffmpeg

        return str(imageio_ffmpeg.get_ffmpeg_exe())
    except (ImportError, RuntimeError) as missing:
        raise OutputError(
            "MP4: found no ffmpeg; expected it, or pip install '.[video]'; a name in .gif needs none"
        ) from missing


def _write_mp4(stage: Stage, out: Path) -> None:
    dpi, per_second = MP4
    width, height = (round(side * dpi) for side in SIZE_IN)
    command = [
        ffmpeg(), "-loglevel", "error", "-y", "-f", "rawvideo", "-pix_fmt", "rgb0", "-s", f"{width}x{height}",
        "-r", str(per_second), "-i", "-", "-an", "-c:v", "libx264", "-pix_fmt", "yuv420p", "-crf", "23",
        "-preset", "ultrafast", "-movflags", "+faststart", str(out),
    ]  # fmt: skip
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as coder:  # noqa: S603  # our own list
        pipe: Any = coder.stdin
        try:
            for frame in frames(stage, dpi, per_second):
                pipe.write(frame.data)
            pipe.close()
        except BrokenPipeError:
            pass
        said = coder.stderr.read().decode("utf-8", "replace").strip() if coder.stderr else ""
    if coder.returncode:
        raise OutputError(f"MP4: ffmpeg could not write it: {said.splitlines()[-1] if said else 'no reason given'}")
