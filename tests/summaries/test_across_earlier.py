"""A campaign against an earlier one: ratios by way of what was carried along, and nothing where nothing was."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from output_sample import sample
from written_results import ROAD, results

from gpsq.campaign import campaign_file, earlier
from gpsq.exceptions import CampaignError
from gpsq.output.report.page import report_page
from gpsq.settings import Settings
from gpsq.summaries.across.earlier import against_earlier

#: Errors of this campaign's devices on six rides.
NOW = {"Amber": 2.0, "Basalt": 3.0}


@pytest.fixture(scope="module")
def analysis():
    """Rides of two devices, whose errors on ride k are theirs times one that the ride has for all."""
    found = sample(devices=("Amber", "Basalt"), rides=(6, 1))
    changed = []
    for number, (trace, result) in enumerate(zip(found.traces, found.results, strict=True)):
        sky = 1.0 + 0.1 * (number // 2)
        errors = dataclasses.replace(found.results[0].crosstrack, p68_m=NOW[trace.device] * sky)
        changed.append(dataclasses.replace(result, crosstrack=errors if number < 12 else None, interval_s=1.0))
    return dataclasses.replace(found, results=tuple(changed))


def then(folder, errors, title="Spring", interval_s=1):
    """Results of an earlier campaign under a sky half as good, of devices whose errors are given."""
    tracks = [
        f"{device}{k}.gpx,1,{device},R{k},A,,,hot,{interval_s},{2 * (1 + 0.1 * k) * size}"
        for device, size in errors.items()
        for k in range(6)
    ]
    return results(folder, title, ROAD, [f"{device},A,6,,,,,,,,,," for device in errors], tracks)


def against(analysis, tmp_path, *names):
    (tmp_path / "now").mkdir()
    found, problems = earlier.load(tmp_path / "now", names)
    assert problems == ()
    return against_earlier(analysis, found, Settings())


def test_a_device_is_held_against_itself_by_way_of_the_one_carried_along(analysis, tmp_path):
    """Then 4 to 2 and now 3 to 2: (3/2) / (4/2) = 0.75, whatever the sky."""
    then(tmp_path / "spring", {"Amber": 2.0, "Basalt": 4.0})
    found, problems = against(analysis, tmp_path, "../spring")
    assert problems == ()
    own = {(a.device, a.other): a for a in found}
    assert set(own) == {("Amber", "Amber"), ("Basalt", "Basalt")}
    assert own["Basalt", "Basalt"].ratio.value == pytest.approx(0.75)
    assert own["Amber", "Amber"].ratio.value == pytest.approx(1 / 0.75)
    assert (own["Basalt", "Basalt"].via, own["Basalt", "Basalt"].rides_now, own["Basalt", "Basalt"].rides_then) == (
        "Amber",
        6,
        6,
    )
    assert own["Basalt", "Basalt"].verdict.startswith("Basalt errs less than in Spring: ratio 0.75 (95 % interval 0.75")


def test_a_device_that_only_the_earlier_one_had_is_held_against_each(analysis, tmp_path):
    then(tmp_path / "spring", {"Amber": 2.0, "Cobalt": 1.0})
    found, _ = against(analysis, tmp_path, "../spring")
    one = next(a for a in found if (a.device, a.other) == ("Basalt", "Cobalt"))
    assert one.ratio.value == pytest.approx(3.0)  # 3/2 over 1/2
    assert one.verdict.startswith("Basalt errs more than Cobalt in Spring: ratio 3.00")


def test_without_anything_carried_along_nothing_is_said(analysis, tmp_path):
    then(tmp_path / "spring", {"Amber": 2.0})
    found, _ = against(analysis, tmp_path, "../spring")
    said = {a.verdict for a in found}
    assert "Amber against in Spring: not comparable: no device was carried along" not in said
    assert "Amber and Amber in Spring: not comparable: no device was carried along" in said
    assert all(np.isnan(a.ratio.value) for a in found)


def test_another_interval_is_no_comparison(analysis, tmp_path):
    then(tmp_path / "spring", {"Amber": 2.0, "Basalt": 4.0}, interval_s=60)
    found, _ = against(analysis, tmp_path, "../spring")
    assert all("every 60 s" in a.verdict for a in found)


def test_the_report_holds_the_ratios_and_a_published_one_does_not(analysis, tmp_path):
    then(tmp_path / "spring", {"Amber": 2.0, "Basalt": 4.0}, title="Sp<b>ring")
    found, _ = against(analysis, tmp_path, "../spring")
    whole = dataclasses.replace(analysis, summaries=dataclasses.replace(analysis.summaries, earlier=found))
    text = report_page(whole, ())
    assert "Against earlier campaigns" in text
    assert "Basalt errs less than in Sp&lt;b&gt;ring" in text
    assert "earlier campaigns" not in report_page(dataclasses.replace(whole, published=True), ())


def test_folders_that_are_none_are_a_plain_line_each(tmp_path):
    (tmp_path / "now").mkdir()
    (tmp_path / "bare").mkdir()
    found, problems = earlier.load(tmp_path / "now", ["../bare", "../nowhere", "../bare"])
    assert found == ()
    assert [line.partition(";")[0] for line in problems] == [
        "campaign.toml: found '../bare' in [compare], which holds no results",
        "campaign.toml: found '../nowhere' in [compare], which is no folder",
    ]


def test_tables_of_another_version_are_a_plain_line(analysis, tmp_path):
    old = then(tmp_path / "spring", {"Amber": 2.0})
    (old / "tracks.csv").write_text("file,track\na.gpx,1\n")
    found, problems = against(analysis, tmp_path, "../spring")
    assert found == ()
    assert len(problems) == 1
    assert "run gpsq analyse again" in problems[0]


@pytest.mark.parametrize(
    "text", ['[compare]\nwith = "../spring"', "[compare]\nwith = [1]", "compare = 3", '[compare]\nto = ["x"]']
)
def test_other_forms_are_refused_by_name(tmp_path, text):
    (tmp_path / campaign_file.FILE).write_text(text)
    with pytest.raises(CampaignError, match="compare"):
        campaign_file.load(tmp_path)


def test_a_campaign_names_its_earlier_ones(tmp_path):
    (tmp_path / campaign_file.FILE).write_text('[compare]\nwith = ["../spring", "../autumn"]\n')
    assert campaign_file.load(tmp_path).compare == ("../spring", "../autumn")
