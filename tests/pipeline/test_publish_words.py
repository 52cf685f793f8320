"""What a person is told before something is published, and of campaigns that fall short: every line, by hand."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from by_hand import by_hand

from gpsq.exceptions import InputError, NothingToAnalyse
from gpsq.pipeline import publish, shortfalls
from gpsq.privacy import secret
from gpsq.privacy.zones import Zone


@pytest.fixture(scope="module")
def whole():
    return by_hand()


def public(whole, names, lengths_m):
    """Return an analysis of other names, and of lines so long; None where a route has no line."""
    routes = []
    for found, length_m in zip(whole.routes, lengths_m, strict=True):
        line = found.centreline
        along = None if length_m is None else line.along_m * (length_m / line.along_m[-1])
        routes.append(
            dataclasses.replace(found, centreline=along if along is None else dataclasses.replace(line, along_m=along))
        )
    traces = tuple(dataclasses.replace(t, device=names[t.device]) for t in whole.traces)
    return dataclasses.replace(whole, routes=tuple(routes), traces=traces)


NAMES = {"Amber": "Amber", "Basalt": "device 1"}


def test_of_each_route_it_is_said_how_much_is_shown(whole):
    said = [line.replace("\xa0", " ") for line in publish._routes_in_words(whole, public(whole, NAMES, (321.0, None)))]
    assert said == [
        "Route out: 321 m of 621 m is shown, both ends are cut.", "Route home: nothing is shown.",
    ]  # fmt: skip
    unknown = public(whole, NAMES, (None, 407.5))
    assert publish._routes_in_words(unknown, public(whole, NAMES, (200.0, None)))[0].replace("\xa0", " ") == (
        "Route out: 200 m of unknown length is shown, both ends are cut."
    )


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (NAMES, "Devices under their own names: 'Amber'; 'Basalt' as 'device 1'."),
        ({"Amber": "Amber", "Basalt": "Alder"}, "Devices under their own names: 'Amber'; 'Basalt' as 'Alder'."),
        ({"Amber": "Amber", "Basalt": "Basalt"}, "Devices under their own names: 'Amber', 'Basalt'."),
        (
            {"Amber": "device 1", "Basalt": "device 2"},
            "Devices under their own names: none; 'Amber' as 'device 1', 'Basalt' as 'device 2'.",
        ),
    ],
)
def test_of_each_device_it_is_said_under_which_name(whole, names, said):
    assert publish._names_in_words(whole, public(whole, names, (None, None))) == [
        said, "Times are cut to days, and files get neutral names.",
    ]  # fmt: skip


def test_zones_that_are_new_are_kept_and_those_that_are_kept_are_not_written_again(whole, tmp_path, monkeypatch):
    kept = (Zone(47.0, 12.0, 600.0),)
    monkeypatch.setattr(publish.ends, "zones_for", lambda analysis, places, zones, rng: (zones or kept, ("a warning",)))
    monkeypatch.setattr(
        publish, "publication", lambda analysis, zones, chosen: publish.Publication(whole, (f"{zones} {chosen}",))
    )
    (tmp_path / "campaign.toml").write_text('[devices]\n"amber" = "Amber"\n')
    found = publish._without_private(whole, tmp_path, np.random.default_rng(1))
    assert found.remarks == ("a warning", f"{kept} {frozenset({'Amber'})}")
    assert secret.load(tmp_path) == kept
    before = (tmp_path / secret.NAME).stat().st_mtime_ns
    publish._without_private(whole, tmp_path, None)
    assert (tmp_path / secret.NAME).stat().st_mtime_ns == before


def test_zones_are_drawn_from_the_source_that_is_given_else_from_the_systems_secret_one(whole, tmp_path, monkeypatch):
    drawn = []
    monkeypatch.setattr(publish.ends, "zones_for", lambda *given: (drawn.append(given[3].integers(2**62)), ((), ()))[1])
    monkeypatch.setattr(publish, "publication", lambda *_: publish.Publication(whole, ()))
    monkeypatch.setattr(publish.secrets, "randbits", lambda bits: 11)
    publish._without_private(whole, tmp_path, np.random.default_rng(7))
    publish._without_private(whole, tmp_path, None)
    assert drawn == [np.random.default_rng(seed).integers(2**62) for seed in (7, 11)]


def test_what_is_previewed_is_said_and_not_written(whole, tmp_path, monkeypatch):
    part = public(whole, NAMES, (321.0, None))
    monkeypatch.setattr(publish, "_without_private", lambda *_: publish.Publication(part, ("a remark",)))
    said = publish.preview(whole, tmp_path)
    assert [line.split(" ")[0] for line in said] == ["Route", "Route", "Devices", "Times", "a"]
    assert list(tmp_path.iterdir()) == []
    written = []
    monkeypatch.setattr(publish, "write_results", lambda *given, **how: written.append((*given, how)))
    assert publish.publish(whole, tmp_path, tmp_path / "out", tiles="some") == ("a remark",)
    assert written == [(part, tmp_path / "out", {"tiles": "some"})]


def test_where_campaigns_fall_short_is_said_one_by_one(monkeypatch):
    """One has two shortfalls, one none, one has no recordings, one cannot be analysed: the last is said aside."""
    found = {
        "a": ["short", "shorter"],
        "b": [],
        "c": NothingToAnalyse("c", "nothing", "rides"),
        "d": InputError("d", "x", "y"),
    }

    def analyse(folder):
        if isinstance(found[folder.name], Exception):
            raise found[folder.name]
        return folder.name

    aside = []
    monkeypatch.setattr(shortfalls, "analyse", analyse)
    monkeypatch.setattr(shortfalls, "shortfalls", lambda name: found[name])
    folders = [Path(name) for name in ("c", "d", "a", "b")]
    assert list(shortfalls.shortfall_lines(folders, say=aside.append)) == [
        "\na: where it falls short of a fair test (docs/protocol.md)", "- short", "- shorter",
        "\nb: where it falls short of a fair test (docs/protocol.md)", "- nowhere",
    ]  # fmt: skip
    assert aside == ["d: found x; expected y"]
