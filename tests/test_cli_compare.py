"""``gpsq compare`` and the part of ``gpsq check`` that judges a whole campaign: all that a person sees."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from small_rides import gpx, write
from written_results import ROAD, one

from gpsq.cli import main

HEADS = (
    "device rides start states in 30 s never median time to first fix half of the road within 95 % within repeatability "
    "errors per 100 km"
)
ROWS = [
    "quick (1) 6 6 hot 100 % unknown 5 s unknown 3.3 m (3 m to 3.6 m) 3 m (2 m to 4 m) unknown",
    "slow (1) 6 6 hot 0 % unknown 75 s unknown 4 m 4 m unknown",
    "quick (2) 6 6 hot 100 % unknown 1 s unknown 3.3 m (3 m to 3.6 m) 3 m (2 m to 4 m) unknown",
    "slow (2) 6 6 hot 0 % unknown 75 s unknown 4 m 4 m unknown",
]


def run(capsys, *arguments):
    """Return exit status, standard output and standard error of one call."""
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    return ended.value.code or 0, said.out, said.err


@pytest.fixture
def weeks(tmp_path):
    return [
        one(tmp_path, "a", "Week 1"),
        one(tmp_path, "b", "Week 2", ROAD[20:] + 1e-5, quick=1),
        one(tmp_path, "c", "Other town", ROAD + np.array([0.0, 0.2])),
    ]


def same_words(text):
    """Return text without trailing noughts of lengths and the widths of columns, which are not what is tested here."""
    return [" ".join(line.replace(".0 m", " m").split()) for line in text.splitlines() if not line.startswith("-")]


def test_the_table_on_standard_output(capsys, weeks, tmp_path):
    status, out, err = run(capsys, "compare", *weeks, "--out", tmp_path / "side")
    assert (status, err) == (0, "")
    first, second = out.split("\n\n")[:2]
    assert same_words(first) == ["course 1: (1) Week 1, route A; (2) Week 2, route A", HEADS, *ROWS]
    assert second.startswith("course 2: Other town, route A\n")
    assert "The table sets figures side by side; it does not compare them." in out
    assert "quick errs less than slow: ratio 0.7" in out
    assert "first" not in out.replace("first fix", "")
    assert out.endswith(f"Page: {tmp_path / 'side' / 'compare.html'}\n")


def test_the_files(capsys, weeks, tmp_path):
    run(capsys, "compare", *weeks, "--out", tmp_path / "side")
    side = tmp_path / "side"
    assert {path.name for path in side.iterdir()} == {
        "compare.html", "compare.csv", "bridges.csv",
        "compare.svg", "compare.png", "compare-square.svg", "compare-square.png", "run.json",
    }  # fmt: skip
    with (side / "compare.csv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    assert len(rows) == 6
    assert rows[0]["repeatability_low_m"] == "2"
    assert rows[0]["ttff_low_s"] == ""
    with (side / "bridges.csv").open(encoding="utf-8", newline="") as text:
        (errors, times) = csv.DictReader(text)
    assert (errors["measure"], errors["via"], errors["rides_first"]) == ("xte_p68_m", "the same rides", "18")
    assert float(errors["ratio_low"]) < float(errors["ratio"]) < 1
    assert (times["measure"], times["state"], times["ratio"]) == ("ttff_s", "hot", "")
    assert float(times["difference_low_s"]) < float(times["difference_high_s"]) < 0
    page = (side / "compare.html").read_text("utf-8")
    assert "Other town" in page
    assert "default-src" in page
    assert page.count("<script") == 1  # it copies what is shown
    assert "http" not in page.replace('http-equiv="Content-Security-Policy"', "").replace("http://www.w3.org/", "")
    assert json.loads((side / "run.json").read_text("utf-8"))["compared"] == ["Other town", "Week 1", "Week 2"]


def test_again_into_the_same_folder_and_not_into_another_ones(capsys, weeks, tmp_path):
    assert run(capsys, "compare", weeks[0], "--out", tmp_path / "side")[0] == 0
    assert run(capsys, "compare", *weeks, "--out", tmp_path / "side")[0] == 0
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("keep me")
    status, _, err = run(capsys, "compare", *weeks, "--out", tmp_path / "mine")
    assert status == 2
    assert "found files that gpsq did not write" in err
    assert (tmp_path / "mine" / "letter.txt").read_text() == "keep me"


def test_a_campaign_stands_for_the_results_in_it(capsys, tmp_path):
    (tmp_path / "week").mkdir()
    one(tmp_path / "week", "gpsq-results", "Week 1")
    status, out, _ = run(capsys, "compare", tmp_path / "week", "--out", tmp_path / "side")
    assert status == 0
    assert out.startswith("course 1: Week 1, route A\n")


def test_a_folder_that_is_none_is_one_line_and_the_others_go_on(capsys, weeks, tmp_path):
    status, out, err = run(capsys, "compare", weeks[0], tmp_path / "nowhere", "--out", tmp_path / "side")
    assert status == 1
    assert "course 1: Week 1, route A" in out
    assert err.splitlines() == [
        f"{tmp_path / 'nowhere'}: found no folder; expected a results folder that gpsq analyse wrote",
        "1 of 2 folders could not be read.",
    ]


def test_nothing_to_compare_is_refused(capsys, tmp_path):
    status, out, err = run(capsys, "compare", tmp_path / "nowhere", "--out", tmp_path / "side")
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert not (tmp_path / "side").exists()


def test_deviations_that_wait_are_said(capsys, tmp_path):
    folder = one(tmp_path, "a")
    head, *rows = (folder / "devices.csv").read_text().splitlines()
    (folder / "devices.csv").write_text("\n".join([f"{head},undecided", *(f"{row},1" for row in rows)]) + "\n")
    out = run(capsys, "compare", folder, "--out", tmp_path / "side")[1]
    assert "Week 1: 2 deviations wait for a decision; until then they count in the errors." in out


def test_check_judges_a_campaign(capsys, tmp_path):
    days = (f"2024-05-{day}T07:00:30" for day in (14, 15, 16))
    write(tmp_path / "week", **{f"maker/{i}.gpx": gpx(day, n=60) for i, day in enumerate(days)})
    status, out, err = run(capsys, "check", tmp_path / "week")
    assert (status, err) == (0, "")
    said = out.split(f"{tmp_path / 'week'}: where it falls short of a fair test (docs/protocol.md)\n")[1].splitlines()
    assert said[0].startswith("- 3 of 3 recordings without a known start")
    assert said[-1].startswith("- no reference line")
    status, out, _ = run(capsys, "check", tmp_path / "week", "--json")
    assert len(json.loads(out)) == 3


def test_check_of_single_files_says_nothing_of_a_campaign(capsys, tmp_path):
    write(tmp_path, **{"a.gpx": gpx()})
    assert "fair test" not in run(capsys, "check", tmp_path / "a.gpx")[1]


def test_check_of_a_folder_with_an_impossible_campaign_file(capsys, tmp_path):
    write(tmp_path, **{"maker/a.gpx": gpx(), "campaign.toml": "titel = 'x'\n"})
    _, out, err = run(capsys, "check", tmp_path)
    assert "fair test" not in out
    assert "campaign.toml: found the key 'titel'" in err
    assert "Traceback" not in err
