"""Whom a map may ask for tiles, and how it begins: with invented providers, one host or several."""

from __future__ import annotations

import re

import pytest
from by_hand import by_hand
from xyzservices import TileProvider

from gpsq.exceptions import OutputError
from gpsq.output.map import page
from gpsq.output.templating import template_text


def provider(url="https://tiles.example/{z}/{x}/{y}.png", **more):
    return TileProvider(
        {"name": "Invented", "url": url, "attribution": "© nobody", "html_attribution": "© nobody"} | more
    )


@pytest.mark.parametrize(
    ("asked", "hosts"),
    [
        (None, []), (provider(), ["https://tiles.example"]),
        (provider("https://{s}.tiles.example/{z}/{x}/{y}.png"), [f"https://{s}.tiles.example" for s in "abc"]),
        (provider("https://{s}.tiles.example/{z}.png", subdomains="yx"), [f"https://{s}.tiles.example" for s in "xy"]),
        (provider("https://{s}.tiles.example/{z}.png", subdomains=["t1", "t2"]), ["https://t1.tiles.example", "https://t2.tiles.example"]),
        (provider("http://localhost:8080/{z}.png"), ["http://localhost:8080"]),
    ],
)  # fmt: skip
def test_the_hosts_of_tiles_are_those_of_their_addresses(asked, hosts):
    assert page._tile_hosts(asked) == hosts
    policy = page._policy(["let a = 1"], asked)
    assert re.findall(r"img-src ([^;]*)", policy) == [" ".join(["data:", *hosts])]
    assert policy.count("sha256-") == 1


def test_a_map_begins_at_nought_with_the_layer_that_is_asked_for():
    """Leaflet's own options, as its reference names them: `maxNativeZoom` beyond which tiles are enlarged."""
    bare = page.start_script(None)
    assert bare == page.template_text(page.START)
    assert "tile_layer" not in bare
    for text in (bare, page.start_script(provider())):
        for said in ('"zoomSnap": 0.25', '"preferCanvas": true', "[0.0, 0.0]", "var gpsq_map"):
            assert said in text, said
    assert '"attributionControl": false' in bare
    for more, native in (({}, 18), ({"max_zoom": 16}, 16)):
        text = page.start_script(provider(**more))
        assert '"attributionControl": true' in text
        assert (f'"maxNativeZoom": {native}' in text, text.count('"maxZoom": 21')) == (True, 1)
        assert "https://tiles.example/{z}/{x}/{y}.png" in text
        assert not re.search(r"[0-9a-f]{32}", text)


def test_a_page_without_tiles_asks_nobody_and_one_with_them_says_whom(monkeypatch):
    monkeypatch.setattr(page, "tile_provider", lambda name: provider() if name == "Invented" else None)
    for tiles, said in ((None, False), ("Invented", True)):
        text = page.map_page(by_hand(), tiles=tiles)
        assert ("https://tiles.example" in text) is said
        assert (template_text(page.START).strip() in text) is not said
        assert "url(images/" not in text
        assert text.count("url(data:image/png;base64,") >= 2


def test_only_providers_of_tiles_are_told_where_the_page_stands(monkeypatch):
    """A provider asks for the origin (W3C, Referrer Policy, 3.4); nobody else is told anything."""
    monkeypatch.setattr(page, "tile_provider", lambda name: provider() if name == "Invented" else None)
    for tiles, said in ((None, "no-referrer"), ("Invented", "origin")):
        assert f'<meta name="referrer" content="{said}">' in page.map_page(by_hand(), tiles=tiles)


def test_a_provider_that_wants_a_key_is_refused_and_one_without_is_taken():
    assert page.tile_provider("OpenStreetMap.Mapnik").name == "OpenStreetMap.Mapnik"
    with pytest.raises(OutputError, match="wants a key of its own"):
        page.tile_provider("Thunderforest.OpenCycleMap")
