"""``map.html``: one page that needs no network. folium makes the map and its tiles, Leaflet's files are put inside.

What folium makes of a map without tiles is always the same and lies beside the templates: loading folium to make it takes
longer than to draw all else in the map.

Text from the recordings never becomes part of a template or a script: it travels as JSON and is set as text content.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from gpsq.exceptions import OutputError
from gpsq.output.map.data import map_data, script_json
from gpsq.output.templating import policy_of, render, template_text

if TYPE_CHECKING:
    from gpsq.results import Analysis

#: The name of the map in its script, in place of the random one that folium gives.
MAP_NAME = "gpsq_map"
#: What `start_script` makes without tiles.
START = "map_start.js"
#: The page's own script, in this order.
SCRIPTS = ("map_flags.js", "map_play.js", "map.js")


def map_page(analysis: Analysis, *, tiles: str | None = None) -> str:
    """Return the page.

    Parameters
    ----------
    analysis : Analysis
        What to draw.
    tiles : str, optional
        Name of a tile provider known to xyzservices, for a background. Its server learns which places are looked at.

    Raises
    ------
    OutputError
        When no provider has that name, or it wants a key.
    """
    provider = tile_provider(tiles) if tiles else None
    data = map_data(analysis)
    scripts = {
        "leaflet": leaflet("leaflet.js"),
        "start": start_script(provider) if provider else template_text(START),
        "page": "".join(map(template_text, SCRIPTS)),
    }
    return render(
        "map.html.j2", title=data["title"], data=script_json(data), scripts=scripts, leaflet_css=_leaflet_css(),
        css=template_text("look.css") + template_text("map.css"), policy=_policy(list(scripts.values()), provider),
        tiles=provider, tile_host=_tile_hosts(provider),
    )  # fmt: skip


def tile_provider(name: str) -> Any:
    """Return the provider of background tiles of that name, as xyzservices knows it.

    Examples
    --------
    >>> tile_provider("nowhere at all")
    Traceback (most recent call last):
    ...
    gpsq.exceptions.OutputError: tiles: found no provider named 'nowhere at all'; xyzservices lists the names
    """
    import xyzservices.providers

    try:
        provider = xyzservices.providers.query_name(name)
    except ValueError as unknown:
        raise OutputError(f"tiles: found no provider named {name!r}; xyzservices lists the names") from unknown
    if provider.requires_token():
        raise OutputError(f"tiles: {provider.name} wants a key of its own; expected a provider without one")
    return provider


@cache
def leaflet(name: str) -> str:
    """Return the text of one of Leaflet's files, from the installed package."""
    return (_leaflet_folder() / name).read_text("utf-8")


def _leaflet_folder() -> Path:
    import xstatic.pkg.leaflet

    return Path(xstatic.pkg.leaflet.BASE_DIR)


def _leaflet_css() -> str:
    """Leaflet's style sheet with its pictures inside."""

    def inlined(found: re.Match[str]) -> str:
        picture = (_leaflet_folder() / found[1]).read_bytes()
        return f"url(data:image/png;base64,{base64.b64encode(picture).decode()})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", inlined, leaflet("leaflet.css"))


def start_script(provider: Any) -> str:
    """Return folium's script that makes the map, with a layer of tiles unless that is None; the same bytes each time."""
    import folium

    drawn = folium.Map(
        location=(0.0, 0.0), tiles=None, prefer_canvas=True, zoom_control="topright", zoom_snap=0.25,
        attribution_control=provider is not None,
    )  # fmt: skip
    if provider is not None:
        folium.TileLayer(tiles=provider, max_zoom=21, max_native_zoom=provider.get("max_zoom", 18)).add_to(drawn)
    page: Any = drawn.get_root()
    page.render()
    script = page.script.render().replace(drawn.get_name(), MAP_NAME)
    return re.sub(r"\b(tile_layer)_[0-9a-f]{32}\b", r"\1", script)


def _policy(scripts: list[str], provider: Any) -> str:
    """Return a content security policy (W3C): only these scripts run, and nothing is fetched but asked-for tiles."""
    pictures = " ".join(["data:", *_tile_hosts(provider)])
    return policy_of(*scripts).replace("img-src data:", f"img-src {pictures}")


def _tile_hosts(provider: Any) -> list[str]:
    if provider is None:
        return []
    url = provider.build_url(fill_subdomain=False)
    names = list(provider.get("subdomains", "abc")) if "{s}" in url else [""]
    hosts = {urlsplit(url.replace("{s}", name)) for name in names}
    return sorted(f"{host.scheme}://{host.netloc}" for host in hosts)
