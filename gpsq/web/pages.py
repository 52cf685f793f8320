"""The page as HTML: Jinja2 with autoescape, templates from the package. Text from recordings is never a template."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from gpsq.output import wording
from gpsq.output.templating import template_text
from gpsq.web.dropped_files import MOST_FILES, PUBLISHED, original_names
from gpsq.web.received import noticed

if TYPE_CHECKING:
    from jinja2 import Environment

    from gpsq.web.session import Desk

#: What of the results is worth a link of its own, and what it is.
DOWNLOADS = (
    ("tracks.csv", "a row per recording"),
    ("deviations.csv", "a row per deviation"),
    ("devices.csv", "a row per device and route"),
    ("set_aside.csv", "what was left out, and why"),
    ("results.gpkg", "all layers for a GIS"),
    ("centrelines.geojson", "the routes' centrelines"),
    ("centrelines.gpx", "the same lines, to look at in any track viewer"),
    ("run.json", "settings, inputs and counts"),
)


@cache
def static(name: str) -> str:
    """Return the text of one of the page's own files; its style sheet begins with the look of report and map."""
    if name == "copy.js":
        return template_text(name)
    text = (files("gpsq.web") / "static" / name).read_text("utf-8")
    return template_text("look.css") + text if name.endswith(".css") else text


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("gpsq.web"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=lambda value: wording.cell(value) if type(value) is str else value,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@dataclass(frozen=True)
class About:
    """The form that was refused, by its name and what it is about, and what was typed into it."""

    key: str = ""
    typed: str = ""


NOTHING = About()


def page(desk: Desk, refusal: str = "", about: About = NOTHING) -> str:
    """Return the whole page; `refusal` is why the last request was not followed, and stands beside its field too."""
    results = desk.results
    places, places_problem = desk.places()
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            token=desk.token,
            folder=str(desk.folder),
            state=status(desk),
            refusal=refusal,
            about=about,
            number=results.number if results else 0,
            title=results.analysis.title if results else "",
            shown=results.shown if results else None,
            places=places,
            places_problem=places_problem,
            ground_lines=json.dumps(results.shown["lines"] if results else []),
            ground_places=json.dumps([(p.lat_deg, p.lon_deg, p.radius_m) for p in places]),
            published=desk.published,
            preview=desk.preview,
            pasted=desk.pasted,
            published_folder=PUBLISHED,
            originals=original_names(desk.folder),
            downloads=DOWNLOADS,
            most_files=MOST_FILES,
            words=wording,
        )
    )


def status(desk: Desk) -> dict[str, Any]:
    """Return how far things are, for the page and for its script."""
    progress, results = desk.analyst.progress, desk.results
    return {
        "number": results.number if results else 0,
        "what": progress.what or ("waiting" if desk.analyst.busy else ""),
        "done": progress.done,
        "of": progress.of,
        "waiting": desk.analyst.waiting,
        "problem": desk.problem,
        "published": desk.published is not None,
        "received": [
            {"given": wording.cell(r.given), "said": wording.cell(r.said), "outcome": r.outcome,
             "seen": wording.cell(r.seen)}
            for r in desk.received
        ],
        "noticed": [wording.cell(note) for note in noticed(desk.received)],
    }  # fmt: skip


def framed_map(page: str) -> str:
    """Return the map's page with its links leading out of the frame that it stands in."""
    return page.replace('<a href="report.html">', '<a href="report.html" target="_top">', 1)
