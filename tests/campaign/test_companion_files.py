"""Files that a person keeps beside the recordings, with mistakes in them: named in a line, and nothing in them lost."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_rides import gpx, write

from gpsq import cli
from gpsq.campaign import campaign_file, flags, start_log
from gpsq.exceptions import CampaignError
from gpsq.model import Flag

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "file,device,started,note\n"
GOOD = "mon.gpx,bar,2024-05-14T07:00:00Z,\n"


# the start log


def said(log: start_log.StartLog) -> list[str]:
    return [str(problem) for problem in log.problems]


def test_a_quote_that_is_not_closed_is_named_and_swallows_nothing() -> None:
    log = start_log.parse(f'{HEAD}mon.gpx,bar,2024-05-14T07:00:00Z,"rain\n{GOOD.replace("mon", "tue")}'.encode())
    assert set(log.entries) == {"mon.gpx", "tue.gpx"}
    assert {entry.device for entry in log.entries.values()} == {"bar"}
    assert log.entries["mon.gpx"].note == "rain"
    assert said(log) == ["rides.csv: found a quote that is not closed in row 1; expected each quote closed"]


def test_a_quote_that_a_later_row_closes_swallows_nothing_either() -> None:
    """Row 1 opens one, row 3 closes it: between them lies a row that must not vanish."""
    rows = [
        f"{day}.gpx,bar,2024-05-14T07:00:00Z,{note}"
        for day, note in zip(("a", "b", "c"), ('"x', "", 'y"'), strict=True)
    ]
    log = start_log.parse((HEAD + "\n".join(rows)).encode())
    assert set(log.entries) == {"a.gpx", "b.gpx", "c.gpx"}
    assert len(log.problems) == 1


@given(
    st.lists(
        st.text(
            st.characters(codec="utf-8", exclude_characters=",\0\r\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029"), max_size=30
        ),
        max_size=5,
    )
)
def test_notes_of_several_lines_are_read(notes: list[str]) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEAD.strip().split(","))
    writer.writerows([f"{k}.gpx", "bar", "2024-05-14T07:00:00Z", note] for k, note in enumerate(notes))
    log = start_log.parse(text.getvalue().encode())
    assert log.problems == ()
    assert [entry.note for entry in log.entries.values()] == [note.strip() for note in notes]


def test_a_row_without_a_start_is_named() -> None:
    log = start_log.parse(f"{HEAD}mon.gpx,bar,,\n".encode())
    assert said(log) == ["rides.csv: found no start in row 1; expected a time such as 2024-05-14T07:10:00Z"]
    assert log.entries["mon.gpx"].device == "bar"


@pytest.mark.parametrize(
    ("started", "said"),
    [
        ("2024-05-14T09:00:00Z", "7170 s after the first fix"),
        ("2020-05-14T07:00:00Z", "35064.0 h before the first fix"),
        ("2024-05-14T01:00:00Z", "6.0 h before the first fix"),
    ],
)
def test_a_start_that_its_recording_contradicts_is_named_on_the_terminal(
    tmp_path: Path, started: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path, **{"mon.gpx": gpx(), "rides.csv": f"{HEAD}mon.gpx,bar,{started},\n"})
    with pytest.raises(SystemExit):
        cli.main(["analyse", str(tmp_path)])
    lines = [line for line in capsys.readouterr().err.splitlines() if said in line]
    assert len(lines) == 1
    assert lines[0].startswith("mon.gpx: rides.csv gives ")


def test_longitudes_of_the_whole_earth_are_taken() -> None:
    """WGS 84: latitudes to 90 degrees, longitudes to 180. Sydney lies at 33.86 S, 151.21 E."""
    head = "file,device,started,start_lat,start_lon\n"
    rows = "".join(
        f"{k}.gpx,bar,2024-05-14T07:00:00Z,{lat},{lon}\n"
        for k, (lat, lon) in enumerate([(-33.86, 151.21), (90, 180.0), (-90, -180.0), (0, 180.1), (90.1, 0)])
    )
    log = start_log.parse((head + rows).encode())
    assert [entry.start_lon_deg for entry in log.entries.values()][:3] == [151.21, 180.0, -180.0]
    assert [np.isnan(entry.start_lat_deg) for entry in log.entries.values()] == [False, False, False, True, True]
    assert [problem.split(";")[0] for problem in said(log)] == [
        "rides.csv: found '180.1' as start_lon in row 4",
        "rides.csv: found one of start_lat and start_lon in row 4",
        "rides.csv: found '90.1' as start_lat in row 5",
        "rides.csv: found one of start_lat and start_lon in row 5",
    ]


# campaign.toml


@pytest.mark.parametrize("radius", ["0", "-300", "1e9", "nan", "true", '"300"'])
def test_a_radius_that_hides_nothing_or_everything_is_refused(tmp_path: Path, radius: str) -> None:
    (tmp_path / "campaign.toml").write_text(f"[[private_place]]\nlat = 50\nlon = 10\nradius_m = {radius}\n")
    with pytest.raises(CampaignError, match=r"for radius_m in \[\[private_place\]\]; expected a number between 1 and"):
        campaign_file.load(tmp_path)


# flags.csv


def a_flag(first: int = 3, note: str = "") -> Flag:
    times = np.datetime64("2024-05-14T07:00:00", "ms") + np.array([first, first + 9]).astype("timedelta64[s]")
    return Flag("ab" * 32, 1, times[0], times[1], first, first + 9, "intentional", note, "mon.gpx")


def test_columns_that_gpsq_does_not_know_are_kept(tmp_path: Path) -> None:
    flags.save(tmp_path, [a_flag(3), a_flag(50)])
    lines = (tmp_path / flags.FILE_NAME).read_text().splitlines()
    kept = [
        f"{line},{more}" for line, more in zip(lines, ("seen by,weather", "Ann,rain", 'Ben,"sun, dry"'), strict=True)
    ]
    (tmp_path / flags.FILE_NAME).write_text("\n".join(kept) + "\n")
    flags.change(tmp_path, lambda found: [*found[:1], a_flag(90, "new"), found[1]])
    table = list(csv.DictReader((tmp_path / flags.FILE_NAME).read_text().splitlines()))
    assert [(row["from_point"], row["seen by"], row["weather"]) for row in table] == [
        ("3", "Ann", "rain"), ("50", "Ben", "sun, dry"), ("90", "", ""),
    ]  # fmt: skip
    assert flags.load(tmp_path) == ((a_flag(3), a_flag(50), a_flag(90, "new")), ())


FOREIGN = {
    "semicolons": (";".join(flags.COLUMNS) + "\n", "columns parted by semicolons"),
    "tabs": ("\t".join(flags.COLUMNS) + "\nab\t1\n", "columns parted by tabs"),
    "another table": ("country,colour\nNorway,red\n", "a table without the columns sha256, track, from_time"),
    "another table without rows": ("country,colour\n", "a table without the columns sha256, track, from_time"),
    "a text": ("Dear diary\n", "a table without the columns"),
    "a quote": (",".join(flags.COLUMNS) + '\nab,1,,,3,12,error,"rain,mon.gpx\ncd,1,,,3,12,error,,tue.gpx\n', "from line 2 on"),
    "a quote that a later row closes": (
        ",".join(flags.COLUMNS) + '\nab,1,,,3,12,error,"rain,mon.gpx\ncd,1,,,3,12,error,"sun",tue.gpx\n', "from line 2 on",
    ),
    "more cells": (",".join(flags.COLUMNS) + "\nab,1,,,3,12,error,rain, and wind,mon.gpx\n", "more cells"),
}  # fmt: skip


@pytest.mark.parametrize("kind", list(FOREIGN))
def test_what_is_no_table_of_flags_is_named_and_never_overwritten(tmp_path: Path, kind: str) -> None:
    text, said = FOREIGN[kind]
    path = tmp_path / flags.FILE_NAME
    path.write_text(text)
    found, problems = flags.load(tmp_path)
    assert len(problems) == 1
    assert said in problems[0]
    assert "parted by commas" in problems[0]
    for write_flags in (lambda: flags.change(tmp_path, lambda _: [a_flag()]), lambda: flags.save(tmp_path, [a_flag()])):
        with pytest.raises(CampaignError):
            write_flags()
    assert path.read_text() == text
    assert len(found) <= 1


def test_an_empty_table_is_one_of_no_flags(tmp_path: Path) -> None:
    (tmp_path / flags.FILE_NAME).write_text("\n")
    assert flags.load(tmp_path) == ((), ())
    flags.change(tmp_path, lambda _: [a_flag()])
    assert flags.load(tmp_path) == ((a_flag(),), ())


@given(st.text(max_size=40), st.integers(0, 10**6))
def test_every_flag_comes_back(tmp_path_factory: pytest.TempPathFactory, note: str, first: int) -> None:
    folder = tmp_path_factory.mktemp("flags")
    flags.save(folder, [a_flag(first, note)])
    lines = "\n".join(note.replace("\r\n", "\n").split("\r"))
    assert flags.load(folder) == ((a_flag(first, lines),), ())


# options


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--zone", "Mars/Phobos"], "--zone: found Mars/Phobos; expected a name of the IANA time zone data"),
        (["--zone", "../etc/passwd"], "--zone: found ../etc/passwd; expected"),
        (["--date-order", "xyz"], "--date-order: found xyz; expected dmy, mdy or ymd"),
    ],
)
def test_options_that_mean_nothing_are_refused(
    tmp_path: Path, options: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path, **{"mon.gpx": gpx()})
    with pytest.raises(SystemExit) as status:
        cli.main(["check", str(tmp_path / "mon.gpx"), *options])
    assert status.value.code == cli.NOTHING
    assert said in capsys.readouterr().err
