"""Tables go to an audience, and names in them come from files that anyone may have made."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_rides import gpx, write

from gpsq import cli
from gpsq.output.tables.tables import csv_text
from gpsq.reading import read_folder
from gpsq.settings import Settings
from gpsq.summaries.across.campaigns import compare_campaigns
from gpsq.summaries.csv_cells import bare, guarded

if TYPE_CHECKING:
    from pathlib import Path

#: What spreadsheets take for the beginning of a formula (OWASP, "CSV Injection").
STARTS = ("=", "+", "-", "@", "\t", "\r")
CREATOR = "=cmd|' /C calc'!A0"


@given(st.sampled_from(["", " ", "  "]), st.sampled_from(STARTS), st.text())
def test_a_formula_is_marked_as_text_and_comes_back(space: str, start: str, rest: str) -> None:
    text = f"{space}{start}{rest}"
    assert guarded(text) == f"'{text}"
    assert bare(guarded(text)) == text


@given(st.text())
def test_every_text_comes_back(text: str) -> None:
    if not text.startswith("'"):
        assert bare(guarded(text)) == text


def test_numbers_stay_numbers() -> None:
    frame = pd.DataFrame({"m": [-1.5, 2.0], "who": pd.array(["-1.5", "bar"], dtype="str")})
    assert csv_text(frame) == "m,who\n-1.5,'-1.5\n2.0,bar\n"


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results of a campaign whose files, names and makers are formulas."""
    folder = tmp_path_factory.mktemp("rides")
    named = gpx(creator=CREATOR, n=120).replace("<trkseg>", "<name>@SUM(1)</name><trkseg>")
    write(
        folder,
        **{"+1.gpx": named, "-2.gpx": named.replace("05-14", "05-15"), "=3.gpx": named.replace("05-14", "05-16")},
    )
    write(folder, **{"@bad.gpx": "<html>"})
    with pytest.raises(SystemExit):
        cli.main(["analyse", str(folder), "--quiet"])
    return folder / "gpsq-results"


def test_no_cell_of_any_table_begins_a_formula(results: Path) -> None:
    """A text cell is one that is no number; the device is the maker's formula, marked."""
    seen = 0
    for path in results.glob("*.csv"):
        for row in csv.reader(io.StringIO(path.read_text("utf-8"), newline="")):
            for cell in row:
                try:
                    float(cell)
                except ValueError:
                    assert not cell.lstrip(" ").startswith(STARTS), (path.name, cell)
                seen += cell.startswith(("'=", "'+", "'-", "'@"))
    assert seen > 8
    assert pd.read_csv(results / "devices.csv")["device"].unique().tolist() == [f"'{CREATOR}"]


def test_a_comparison_reads_names_as_they_are_and_marks_them_anew(results: Path, tmp_path: Path) -> None:
    found = compare_campaigns([results], Settings())
    assert {entry.device for entry in found.entries} == {CREATOR}
    with pytest.raises(SystemExit):
        cli.main(["compare", str(results), "--out", str(tmp_path / "compare"), "--quiet"])
    assert CREATOR not in pd.read_csv(tmp_path / "compare" / "compare.csv")["device"].tolist()


def test_a_name_that_nobody_can_read_is_cut_everywhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    long = "x" * 20_000_000
    write(tmp_path, **{"a.gpx": gpx(creator=long).replace("<trkseg>", f"<name>{long}</name><trkseg>")})
    (trace,) = read_folder(tmp_path).traces
    assert len(trace.name) == len(trace.creator) == len(trace.device) == 300
    assert "Its name has 20,000,000 signs and was cut to 300." in trace.notes
    with pytest.raises(SystemExit):
        cli.main(["analyse", str(tmp_path), "--out", str(tmp_path / "out")])
    told = capsys.readouterr()
    assert len(told.out + told.err) < 20_000
    assert max(path.stat().st_size for path in (tmp_path / "out").rglob("*.*") if path.is_file()) < 2_000_000
