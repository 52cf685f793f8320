"""Several campaigns side by side, from results folders written by hand."""

from __future__ import annotations

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, left_out_offsets, positions
from written_results import ROAD, one

from gpsq.exceptions import InputError
from gpsq.settings import Settings
from gpsq.statistics.bootstrap import draw_counts, places, share_first
from gpsq.summaries.across.campaigns import compare_campaigns
from gpsq.summaries.ranking import rank_by_repeatability


def test_devices_of_one_campaign_stand_best_first_with_how_often_each_comes_first(tmp_path):
    found = compare_campaigns([one(tmp_path, "a")], Settings())
    assert [(e.device, e.rides, e.repeatability_m.value, e.repeatability_m.low) for e in found.entries] == [
        ("quick", 6, 3.0, 2.0), ("slow", 6, 4.0, pytest.approx(np.nan, nan_ok=True)),
    ]  # fmt: skip
    assert [e.first_ttff_share for e in found.entries] == [1.0, 0.0]
    assert [e.first_error_share for e in found.entries] == [1.0, 0.0]
    assert found.entries[0].start_states == "6 hot"


def test_equal_devices_share_the_first_place(tmp_path):
    found = compare_campaigns([one(tmp_path, "a", rough=3.0)], Settings())
    assert [e.first_error_share for e in found.entries] == [0.5, 0.5]


def test_campaigns_on_one_course_are_put_together_and_others_kept_apart(tmp_path):
    folders = [
        one(tmp_path, "a", "Week 1"),
        one(tmp_path, "b", "Week 2", ROAD[20:] + 1e-5, quick=1),
        one(tmp_path, "c", "Way back", ROAD[::-1]),
        one(tmp_path, "d", "Other town", ROAD + np.array([0.0, 0.2])),
    ]
    found = compare_campaigns(folders, Settings())
    courses = {e.campaign: e.course for e in found.entries}
    assert courses["Week 1"] == courses["Week 2"]
    assert len(set(courses.values())) == 3
    shares = {(e.campaign, e.device): e.first_ttff_share for e in found.entries}
    assert shares["Week 2", "quick"] > 0.9 > 0.1 > shares["Week 1", "quick"]
    assert any("comparable within one course only" in note for note in found.notes)
    assert any("ridden in Week 1, Week 2" in note for note in found.notes)


def test_a_ride_without_a_fix_counts_as_longest(tmp_path):
    folder = one(tmp_path, "a")
    text = (folder / "tracks.csv").read_text().splitlines()
    never = [line.replace(line.split(",")[5] + ",false", ",true") if line.startswith("q") else line for line in text]
    (folder / "tracks.csv").write_text("\n".join(never) + "\n")
    entries = compare_campaigns([folder], Settings()).entries
    assert {e.start_states for e in entries} == {"6 hot"}
    shares = {e.device: e.first_ttff_share for e in entries}
    assert shares["quick"] == 0.0
    assert shares["slow"] > 0.9  # one of its own six rides never fixed: drawn often enough, nobody comes first


def test_two_campaigns_of_one_title_are_told_apart(tmp_path):
    found = compare_campaigns([one(tmp_path, "a"), one(tmp_path, "b")], Settings())
    assert {e.campaign for e in found.entries} == {"Week 1", "Week 1 (2)"}


def test_a_lone_device_is_not_first_of_anything(tmp_path):
    folder = one(tmp_path, "a")
    text = (folder / "devices.csv").read_text().splitlines()
    (folder / "devices.csv").write_text("\n".join(text[:3]) + "\n")
    (entry,) = compare_campaigns([folder], Settings()).entries
    assert np.isnan([entry.first_ttff_share, entry.first_error_share]).all()


def test_rows_are_flat_and_named_with_their_units(tmp_path):
    row = compare_campaigns([one(tmp_path, "a")], Settings()).rows()[0]
    assert {"course", "campaign", "device", "ttff_s", "ttff_low_s", "repeatability_high_m", "first_error_share"} <= set(
        row
    )
    assert not any(isinstance(value, tuple | list | dict) for value in row.values())


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda f: (f / "run.json").unlink(), "no run.json; expected a results folder"),
        (lambda f: (f / "run.json").write_text("{"), "expected JSON as gpsq writes it"),
        (lambda f: (f / "run.json").write_text("[]"), "expected a JSON object"),
        (lambda f: (f / "devices.csv").unlink(), "expected a table that gpsq wrote"),
        (lambda f: (f / "tracks.csv").write_text("a,b\n1,2\n"), "expected a table with the columns device and route"),
        (lambda f: (f / "tracks.csv").write_bytes(b"device,route\n\xff\xfe,A\n"), "expected a table that gpsq wrote"),
    ],
)
def test_a_folder_that_is_no_results_folder_is_refused_in_one_line(tmp_path, spoil, said):
    folder = one(tmp_path, "a")
    spoil(folder)
    with pytest.raises(InputError, match=said) as caught:
        compare_campaigns([folder], Settings())
    assert "\n" not in str(caught.value)


def test_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="found no folder"):
        compare_campaigns([tmp_path / "nowhere"], Settings())


def test_missing_centrelines_keep_campaigns_apart(tmp_path):
    folders = [one(tmp_path, "a", "Week 1"), one(tmp_path, "b", "Week 2")]
    (folders[1] / "centrelines.geojson").unlink()
    assert len({e.course for e in compare_campaigns(folders, Settings()).entries}) == 2


# --- resampling ----------------------------------------------------------------------------------------------------


def test_drawn_counts_are_those_of_drawing_with_replacement():
    # A ride is missing from a draw of n with chance (1 − 1/n)^n: 0.3487 at n = 10 (binomial arithmetic).
    counts = draw_counts(10, 20_000, 1)
    assert (counts.sum(axis=1) == 10).all()
    assert (counts[:, 0] == 0).mean() == pytest.approx(0.3487, abs=0.01)


def test_unknown_never_comes_first():
    assert share_first(np.array([[np.nan, 2.0], [np.nan, np.nan]])).tolist() == [0.0, 0.5]
    assert places(np.array([[1.0, 2.0, 2.0, 3.0]])).tolist() == [[1, 2, 2, 4]]


def test_a_clearly_better_device_always_comes_first_and_twins_share_it():
    rng = np.random.default_rng(3)
    clear = campaign(left_out_offsets(positions(Truth((1.5, 6.0), (0.0, 0.0)), 8, rng)))
    first, last = rank_by_repeatability(*clear, Settings())
    assert (first.device, first.place, first.best, first.worst) == ("device 1", 1, 1, 1)
    assert first.first_share > 0.99
    assert last.place == 2
    shares = []
    for _ in range(30):
        twins = campaign(left_out_offsets(positions(Truth((3.0, 3.0), (0.0, 0.0)), 8, rng)))
        shares.append(next(p.first_share for p in rank_by_repeatability(*twins, Settings()) if p.device == "device 1"))
    assert np.mean(shares) == pytest.approx(0.5, abs=0.2)
    assert any(0.1 < s < 0.9 for s in shares)
