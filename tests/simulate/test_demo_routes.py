"""The demo campaign: valid, reproducible, and showing what its page says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lxml import etree

from gpsq.simulate.demo import demo_campaign, main

DEMO = Path(__file__).parents[2] / "demo_routes"
RULES = Path(__file__).parents[1] / "support" / "gpx11_rules.xsd"
MEBIBYTE = 2**20


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(str(RULES)))


@pytest.fixture(scope="module")
def truth() -> dict:
    return json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


def _files(folder: Path) -> dict[str, bytes]:
    found = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    return {name: content for name, content in found.items() if not name.startswith("gpsq-results/")}


def test_the_documented_command_writes_the_same_bytes(tmp_path: Path) -> None:
    assert main([str(tmp_path)]) == 0
    shipped = _files(DEMO)
    del shipped["README.md"]
    assert _files(tmp_path) == shipped


def test_the_command_says_how_it_is_used(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert capsys.readouterr().err == "usage: python -m gpsq.simulate.demo FOLDER\n"


def test_every_recording_keeps_the_rules_of_gpx_1_1(schema: etree.XMLSchema) -> None:
    recordings = sorted(DEMO.rglob("*.gpx"))
    assert len(recordings) == 30
    for path in recordings:
        schema.assertValid(etree.parse(str(path)))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('lat="56', 'lat="96'),  # latitude beyond 90
        ('lon="-24', 'lon="180.0" x="'),  # longitude of 180 is excluded
        ("<fix>3d</fix>", "<fix>3D</fix>"),
        ('version="1.1"', 'version="1.0"'),
        ("<fix>3d</fix>", "<sat>3</sat><fix>3d</fix>"),  # order
        ("<trkseg>", "<speed>3</speed><trkseg>"),  # no such element in 1.1
        ("2025-09-08T", "08.09.2025 "),
        (' creator="bar-unit"', ""),
    ],
)
def test_the_rules_can_be_broken(schema: etree.XMLSchema, old: str, new: str) -> None:
    text = (DEMO / "bar-unit" / "2025-09-08-out.gpx").read_text(encoding="utf-8")
    assert schema.validate(etree.fromstring(text.encode()))
    assert not schema.validate(etree.fromstring(text.replace(old, new, 1).encode()))


def test_it_is_small() -> None:
    assert sum(len(content) for content in _files(DEMO).values()) < 3 * MEBIBYTE


def test_it_shows_what_its_page_says(truth: dict) -> None:
    recordings = {r["file"]: r for r in truth["recordings"]}
    assert [name for name, r in recordings.items() if r["never_fixed"]] == ["bar-unit/2025-09-12-back.gpx"]
    assert [name for name, r in recordings.items() if r["evidence"] != "yes"] == ["pocket-unit/2025-09-12-back.gpx"]
    fixed = sorted((r["ttff_s"], name) for name, r in recordings.items() if not r["never_fixed"])
    assert fixed[0][0] == 1.0
    assert fixed[-2][0] == 140.0
    assert fixed[-1] == (418.0, "bag-unit/2025-09-12-out.gpx")
    latest = recordings[fixed[-1][1]]
    assert latest["missed_m"] / truth["roads"][latest["direction"]]["length_m"] == pytest.approx(0.42, abs=0.01)


def test_one_detour_and_one_fault_are_recorded(truth: dict) -> None:
    (detour,) = truth["detours"]
    (fault,) = truth["faults"]
    assert detour["ride"] == "2025-09-11-back"
    assert len(detour["files"]) == 3
    assert detour["peak_m"] >= 60.0
    assert detour["to_m"] - detour["from_m"] >= 300.0
    assert fault["file"] == "pocket-unit/2025-09-12-out.gpx"
    assert fault["recorded"]
    assert abs(fault["peak_m"]) == pytest.approx(135.0, abs=1.0)


def test_the_recordings_agree_on_the_detour_and_not_on_the_fault() -> None:
    """Read from the fixes themselves: who strays from the road where?"""
    far = {}
    for r in demo_campaign().recordings:
        stretch = r.offsets.station_m[abs(r.offsets.offset_m) > 60.0]
        if len(stretch) * 5.0 > 100.0:
            far.setdefault(r.ride.label, []).append(r.device)
    assert far == {"2025-09-11-back": ["bar-unit", "pocket-unit", "bag-unit"], "2025-09-12-out": ["pocket-unit"]}
