"""The command line: parse, call, render, and turn one family of exceptions into an exit status.

Results go to standard output or files, talk and progress to standard error. Heavy modules are imported where used.
"""

from __future__ import annotations

import atexit
import contextlib
import gc
import os
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from gpsq.exceptions import GpsqError, InputError
from gpsq.output.progress import Progress
from gpsq.output.wording import cell
from gpsq.settings import RESULTS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.results import Analysis

#: All well; done, but some recordings could not be read; nothing done; stopped from the keyboard (128 and the signal's number).
WELL, PARTLY, NOTHING, STOPPED = 0, 1, 2, 130
app = typer.Typer(
    help="Judge the quality of repeated GPS tracks: time to first fix, distance missed, cross-track error, deviations.\n\n"
    "Not for navigation or safety of life. Never operate a device while riding; follow the local rules of the road.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of the campaign; recordings lie at any depth.")]
Out = Annotated[Path | None, typer.Option("--out", metavar="DIR", help=f"Results folder. [default: FOLDER/{RESULTS}]")]
Tiles = Annotated[
    str | None,
    typer.Option(
        "--tiles", metavar="NAME", help="Background tiles for the map; their server learns where the rides are."
    ),
]
Cut = Annotated[
    bool,
    typer.Option("--cut-passes", help="Cut recordings that hold many passes. [or cut_passes = true in campaign.toml]"),
]
OnCluster = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="Scheduler of a Dask cluster, such as 127.0.0.1:8786."),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No talk and no progress on standard error.")]


@app.callback(invoke_without_command=True)
def _version(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        from gpsq.digests import version as installed

        typer.echo(f"gpsq {installed()}")
        raise typer.Exit


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where to put the demo campaign.")] = Path(
        "gpsq-demo"
    ),
    quiet: Quiet = False,
) -> None:
    """Analyse a week of invented rides and say where the report lies."""
    from gpsq.simulate.shipped_demo import put

    put(folder)
    _analyse_into(folder, folder / RESULTS, quiet=quiet)


@app.command()
def analyse(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Folder of the campaign; recordings lie at any depth.")
    ] = Path(),
    out: Out = None,
    tiles: Tiles = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Write the layers as GeoParquet too.")] = False,
    cut_passes: Cut = False,
    cluster: OnCluster = None,
    open_browser: Annotated[bool, typer.Option("--open", help="Show the report in the browser.")] = False,
    quiet: Quiet = False,
) -> None:
    """Analyse the recordings below FOLDER, or below the folder you stand in: tables, map and report."""
    asked: dict[str, Any] = {"tiles": tiles, "parquet": parquet, "cut_passes": cut_passes}
    _analyse_into(folder, out or folder / RESULTS, cluster=cluster, open_browser=open_browser, quiet=quiet, **asked)


def _analyse_into(
    folder: Path, out: Path, *, quiet: bool, cluster: str | None = None, open_browser: bool = False, **asked: Any
) -> None:
    from gpsq.campaign import start_log
    from gpsq.output import closing, terminal
    from gpsq.pipeline.campaign_run import analyse_into

    with _running(cluster, quiet=quiet) as how:
        say = partial(_say, quiet=quiet)
        analysis = analyse_into(folder, out, say=say, **asked, **how)
    _tell(*terminal.lines(analysis), *closing.where_it_falls_short(analysis), "", f"Report: {out / 'report.html'}")
    _tell(*closing.row_to_copy(analysis, folder / start_log.FILE))
    if open_browser:
        import webbrowser

        webbrowser.open((out / "report.html").absolute().as_uri())
    _say(*(u.message for u in analysis.unreadable))
    _say(*analysis.notes, quiet=quiet)
    if analysis.unreadable:
        found = len(analysis.traces) + len(analysis.unreadable)
        _say(f"{len(analysis.unreadable)} of {found} recordings could not be read.")
        raise typer.Exit(PARTLY)


def _analysis(folder: Path, *, quiet: bool, cut_passes: bool = False) -> Analysis:
    from gpsq.pipeline import cache
    from gpsq.pipeline.analysis import analyse as run

    with _running(None, quiet=quiet) as how, cache.opened(folder) as store:
        return run(folder, cut_passes=cut_passes, cache=store, **how)


@contextlib.contextmanager
def _running(cluster: str | None, *, quiet: bool) -> Iterator[dict[str, Any]]:
    """Give what a run works on and tells its progress to."""
    with contextlib.ExitStack() as stack:
        engine = None
        if cluster:
            from gpsq.pipeline.executors import Cluster

            engine = stack.enter_context(Cluster(cluster, say=partial(_say, quiet=quiet)))
        yield {"executor": engine, "on_progress": stack.enter_context(Progress(quiet=quiet))}


@app.command()
def fleet(
    source: Annotated[Path, typer.Argument(metavar="FOLDER|PARQUET", help="Thousands of files, or fixes in Parquet.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder of the results, Parquet by route.")],
    cluster: OnCluster = None,
    quiet: Quiet = False,
) -> None:
    """Analyse more recordings than fit in memory, route by route; a run that was stopped goes on where it was."""
    from gpsq.pipeline.fleet import run

    with _running(cluster, quiet=quiet) as how:
        found = run(source, out, **how)
    _tell(f"{found.recordings} recordings on {found.routes} routes: {out / 'tracks'}")
    _say(*found.notes, quiet=quiet)
    if found.unreadable:
        many = "recordings" if found.unreadable > 1 else "recording"
        _say(f"{found.unreadable} {many} could not be read; {out / 'fleet.json'} says why.")
        raise typer.Exit(PARTLY)


@app.command()
def check(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH...", help="Files or folders.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print an array of recordings.")] = False,
    zone: Annotated[
        str | None, typer.Option("--zone", metavar="NAME", help="Zone of times without one, such as Europe/London.")
    ] = None,
    date_order: Annotated[
        str | None,
        typer.Option("--date-order", metavar="dmy|mdy|ymd", help="Order of dates where tables leave it open."),
    ] = None,
) -> None:
    """Tell what gpsq sees in single files, without a campaign."""
    import json

    from gpsq.pipeline.check import describe, inspect_paths
    from gpsq.pipeline.shortfalls import shortfall_lines
    from gpsq.settings import Settings

    missing = [path for path in paths if not os.path.lexists(path)]
    for path in missing:
        _say(str(InputError(str(path), "no such file or folder", "a file or a folder")))
    records = inspect_paths([p for p in paths if p not in missing], Settings(), time_zone=zone, date_order=date_order)
    if as_json:
        typer.echo(json.dumps(records, ensure_ascii=False, indent=2))
    else:
        _tell(*describe(records).split("\n"))
        _tell(*shortfall_lines([p for p in paths if p not in missing and p.is_dir()], say=_say))
    if not records:
        raise typer.Exit(NOTHING)
    if missing or any(record["outcome"] == "error" for record in records):
        raise typer.Exit(PARTLY)


@app.command()
def flag(
    folder: Folder,
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[NAME... intentional|error|clear]",
            help="What was decided of which: an event, a deviation, or a ride with all it has.",
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="Why.")] = "",
    cut_passes: Cut = False,
    quiet: Quiet = False,
) -> None:
    """Keep your decision about deviations, or list them by event; the next analysis honours it."""
    from gpsq.campaign import flags
    from gpsq.measures import events
    from gpsq.output import terminal
    from gpsq.output.report.cards import meant

    analysis = _analysis(folder, cut_passes=cut_passes, quiet=quiet)
    if not words:
        _tell(*terminal.deviation_lines(analysis))
        return
    *names, decision = words
    if decision not in flags.DECISIONS or not names:
        expected = "one or more deviations, events or rides, then intentional, error or clear"
        raise InputError("gpsq flag", " ".join(words), expected)
    chosen = meant(analysis, names)
    flags.change(folder, lambda kept: flags.decided(kept, events.each_once(chosen), analysis.traces, decision, note))
    _tell(terminal.decision_line(chosen, decision))
    _say(f"Run gpsq analyse {folder} to see the figures change.", quiet=quiet)


@app.command()
def compare(
    results: Annotated[
        list[Path], typer.Argument(metavar="RESULTS...", help="Results folders, or campaigns with one.")
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder of the page, the table and the figure.")
    ] = Path("gpsq-compare"),
    quiet: Quiet = False,
) -> None:
    """Set every device of many campaigns side by side, from their results."""
    from gpsq.output import campaigns_page
    from gpsq.settings import Settings
    from gpsq.summaries.across.campaigns import compare_campaigns

    found = compare_campaigns(results, Settings())
    campaigns_page.write_compared(found, out)
    _tell(*campaigns_page.lines(found), "", f"Page: {out / 'compare.html'}")
    _say(*found.problems)
    if found.problems:
        _say(f"{len(found.problems)} of {len(results)} folders could not be read.", quiet=quiet)
        raise typer.Exit(PARTLY)


@app.command()
def replay(
    folder: Folder,
    ride: Annotated[str, typer.Argument(metavar="RIDE", help="The ride: its name, its day, or one of its files.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="A .gif, or an .mp4 where there is ffmpeg.")
    ] = None,
    cut_passes: Cut = False,
    quiet: Quiet = False,
) -> None:
    """Make a moving picture of one ride, fifteen seconds long: road, devices, clock, and what was missed."""
    from gpsq.output.overlay.rides import slug
    from gpsq.output.replay import film

    analysis = _analysis(folder, cut_passes=cut_passes, quiet=quiet)
    found = film.ride_named(analysis, ride)
    path = out or Path(f"replay-{slug(found)}.gif")
    film.write_film(analysis, found, path)
    _tell(f"Film: {path}")


@app.command()
def publish(
    folder: Folder,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder of the published results.")],
    tiles: Tiles = None,
    cut_passes: Cut = False,
    quiet: Quiet = False,
) -> None:
    """Write report, map and tables fit to publish: ends and private places cut, times to the day."""
    from gpsq.pipeline.publish import publish as write
    from gpsq.privacy import secret

    analysis = _analysis(folder, cut_passes=cut_passes, quiet=quiet)
    remarks = write(analysis, folder, out, tiles=tiles)
    _tell(f"Published: {out / 'report.html'}")
    _say(*remarks)
    _say(f"What is hidden is kept in {folder / secret.NAME}: never publish that file, and do not lose it.", quiet=quiet)
    _say(*(u.message for u in analysis.unreadable))
    if analysis.unreadable:
        raise typer.Exit(PARTLY)


@app.command()
def serve(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Folder of the campaign; made if there is none.")
    ] = Path("gpsq-campaign"),
    port: Annotated[
        int | None, typer.Option("--port", help="Port of 127.0.0.1. [default: the first free from 4780 on]")
    ] = None,
    open_browser: Annotated[bool, typer.Option("--open", help="Show the page in the browser.")] = False,
) -> None:
    """Open the local page: drop recordings, see the table, open the map, flag. Only this computer can reach it."""
    from gpsq.web.serve import serve as run

    run(folder, port, open_browser=open_browser, say=_tell)


def _say(*lines: str, quiet: bool = False, err: bool = True) -> None:
    for line in () if quiet else lines:  # names of files and devices in it may hold any characters
        typer.echo(cell(line), err=err)


_tell = partial(_say, err=False)


def _set_up_process() -> None:
    with contextlib.suppress(AttributeError):  # one that knows few letters (cp1252 in a pipe) spells out the others
        sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]  # a stream put in its place may not
    # Matrices here are small: threads of the linear algebra only take the cores from the processes that share the work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Nearly all that is made is kept to the end, so looking through it often finds little and takes a tenth of the time;
    # and what is left at the end goes with the process.
    gc.set_threshold(100_000, 20, 50)
    atexit.register(gc.freeze)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; every refusal is one plain line and an exit status, never a traceback."""
    _set_up_process()
    try:
        app(args=list(arguments) if arguments is not None else None, prog_name="gpsq", standalone_mode=True)
    except GpsqError as error:
        _say(*error.lines, str(error))
    except OSError as error:  # of what was named on the command line, or of a system that gives way
        _say(f"{error.filename or 'gpsq'}: {error.strerror or error}")
    except SystemExit as ended:
        if ended.code == STOPPED:  # of this the library says nothing
            _say("stopped; earlier results are whole")
        raise
    raise SystemExit(NOTHING)  # what went well has ended the process already


if __name__ == "__main__":
    main()
