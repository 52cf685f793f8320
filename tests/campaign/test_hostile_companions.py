"""What an ill-meaning hand may write into the small files beside recordings: one plain line each, and a short one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gpsq import cli
from gpsq.campaign import campaign_file, earlier, start_log, start_table
from gpsq.exceptions import MOST_FOUND, CampaignError, InputError
from gpsq.privacy import secret
from gpsq.reading.listing import find_files
from gpsq.summaries.across import results_read

if TYPE_CHECKING:
    from pathlib import Path

LONG_NAME = "x" * 5000


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a = " + "[" * 20_000, "brackets nested without end; expected TOML"),
        ("a = " + "{a=" * 5_000, "brackets nested without end; expected TOML"),
        ("title = " + "9" * 5_000, "a number of thousands of digits; expected TOML"),
        (f'[reference]\nA = "{LONG_NAME}"', "which does not exist; expected a GPX or GeoJSON file"),
        (f'streets_source = "y"\nstreets = "{LONG_NAME}"', "which do not exist; expected a file of lines"),
        (f"[[private_place]]\nlat = 1\nlon = 1\nradius_m = {'9' * 400}", "expected a number between 1 and 100000"),
    ],
)
def test_a_campaign_file_that_cannot_be_followed_is_a_short_line(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(CampaignError) as refused:
        campaign_file.parse(text.encode(), tmp_path)
    assert says in str(refused.value)
    assert str(refused.value).startswith("campaign.toml: found ")
    assert len(str(refused.value)) < MOST_FOUND + 200


@pytest.mark.parametrize("text", ["a = " + "[" * 20_000, "zone = " + "9" * 5_000])
def test_zones_that_cannot_be_read_are_refused_and_never_drawn_anew(tmp_path: Path, text: str) -> None:
    (tmp_path / secret.NAME).write_text(text)
    with pytest.raises(CampaignError):
        secret.load(tmp_path)


@pytest.mark.parametrize("name", [LONG_NAME, "a\x00b", ""])
def test_earlier_results_of_an_impossible_name_are_none(tmp_path: Path, name: str) -> None:
    found, (problem,) = earlier.load(tmp_path, [name])
    assert found == ()
    assert "in [compare], which " in problem


def test_what_a_row_of_the_log_holds_is_cut_and_the_number_of_the_row_is_kept() -> None:
    (problem,) = start_log.parse(f"started\n2024-05-14T07:00:00Z\nat {'n' * 100_000}oon\n").problems
    said = str(problem)
    assert said.startswith("rides.csv: found 'at nnn")
    assert "noon' as started in row 2; expected a time such as" in said
    assert len(said) < MOST_FOUND + 200


def test_rows_without_a_start_are_one_line_and_a_spreadsheet_is_called_one() -> None:
    log = start_log.parse("file,started\n" + "a.gpx,\n" * 50)
    assert start_table.lines(log.problems) == (
        "rides.csv: found no start in row 1; the same in rows 2 to 50; expected a time such as 2024-05-14T07:10:00Z",
    )
    (problem,) = start_log.parse(b"PK\x03\x04" + bytes(range(256)) * 9).problems
    assert str(problem) == "rides.csv: found a spreadsheet or an archive; expected a table as text: save it as CSV"


def test_a_log_in_another_folder_or_with_other_capitals_is_said_not_to_be_read(tmp_path: Path) -> None:
    for name in ("rides.csv", "Campaign.toml", "FLAGS.CSV", "watch/rides.csv", ".old/rides.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("")
    (note,) = find_files(tmp_path).notes
    assert note == (
        "Not read: Campaign.toml, FLAGS.CSV, watch/rides.csv. rides.csv, campaign.toml and flags.csv are read in the folder "
        "that is analysed, under just these names."
    )
    for k in range(9):
        (tmp_path / f"unit {k}").mkdir()
        (tmp_path / f"unit {k}" / "rides.csv").write_text("")
    assert " and 6 more. rides.csv, " in find_files(tmp_path).notes[0]


@pytest.mark.parametrize(
    "lines",
    ['{"features": 3}', '{"features": [3]}', '{"features": [{"geometry": {"coordinates": [[1, 2], [3, 4]]}}]}',
     '{"features": [{"geometry": {"coordinates": [[], []]}}]}', "[" * 20_000],
)  # fmt: skip
def test_lines_among_results_that_are_none_are_a_plain_line(tmp_path: Path, lines: str) -> None:
    (tmp_path / "run.json").write_text("{}")
    (tmp_path / "centrelines.geojson").write_text(lines)
    with pytest.raises(InputError, match="as gpsq writes it"):
        results_read.read(tmp_path)


@pytest.mark.parametrize("command", [["analyse"], ["check"], ["publish", "--out", "out"], ["fleet", "--out", "out"]])
def test_a_name_that_no_system_can_hold_is_a_line(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main([command[0], LONG_NAME, *command[1:]])
    assert ended.value.code == cli.NOTHING
    (line,) = capsys.readouterr().err.splitlines()
    assert LONG_NAME in line
