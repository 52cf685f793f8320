"""Report and map on one page, to hand on as a single file: nothing is fetched, and nothing lies beside it."""

from __future__ import annotations

import re
from html import escape, unescape

NAME = "share.html"
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
_TO_MAP = re.compile(r'href="map.html(?:#[^"]*)?"')
#: The map stands before the first part of the report.
_BEFORE = '<section id="fix"'


def shared_page(report: str, map_page: str) -> str:
    """Return the report with the map inside it, in a frame that is part of the page.

    The frame lives by the page's content security policy, so that names the scripts of both.
    """
    own, its = (_policy_of(page) for page in (report, map_page))
    for kind in ("script-src", "img-src"):
        own[kind] = list(dict.fromkeys([*own[kind], *its[kind]]))
    policy = "; ".join(" ".join([kind, *sources]) for kind, sources in own.items())
    inside = map_page.replace('href="report.html"', 'href="#answer" target="_parent"')
    frame = (
        '<section id="map" aria-labelledby="h-map">\n<h2 id="h-map">Map</h2>\n'
        f'<iframe title="Map of the recordings" class="map" srcdoc="{escape(inside)}"></iframe>\n</section>\n\n'
    )
    page = _POLICY.sub(
        lambda _: f'<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">', report, count=1
    )
    return _TO_MAP.sub('href="#map"', page).replace(_BEFORE, frame + _BEFORE, 1)


def _policy_of(page: str) -> dict[str, list[str]]:
    """Return the sources that a page's policy allows, by kind."""
    found = _POLICY.search(page)
    rules = unescape(found[1]).split("; ") if found else []
    return {kind: sources for kind, *sources in (rule.split(" ") for rule in rules)}
