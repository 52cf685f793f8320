"""What ``gpsq compare`` writes: every device of many campaigns in one table, one page and one figure."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

from gpsq.digests import version
from gpsq.output import run_file, wording
from gpsq.output.charts.campaigns import campaign_marks, compare_chart, compare_looks
from gpsq.output.folder_swap import replaced
from gpsq.output.report import sketches
from gpsq.output.templating import policy_of, render, template_text
from gpsq.output.terminal import columns
from gpsq.output.wording import cell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from gpsq.summaries.campaigns import Compared, Entry
    from gpsq.summary_types import Interval

HEADS = (
    "device",
    "rides",
    "start states",
    "median time to first fix",
    "fixed in 30 s",
    "repeatability",
    "cross-track RMS",
    "first by time to fix",
    "first by cross-track error",
)
DECIMALS = 4


@dataclass(frozen=True)
class Row:
    """One device on one course as it is shown; `mark` tells campaigns apart where several rode the course."""

    device: str
    mark: str
    cells: list[str]


def lines(compared: Compared) -> Iterator[str]:
    """Yield the table for a terminal, a part for each course, and what must be said about it."""
    for course, rows in _by_course(compared):
        yield course
        yield from columns([list(HEADS), *(row.cells for row in rows)])
        yield ""
    yield from compared.notes


def _by_course(compared: Compared) -> Iterator[tuple[str, list[Row]]]:
    """Give the rows of each course, under its name and where it was ridden."""
    for course, entries in groupby(compared.entries, key=lambda entry: entry.course):
        own = list(entries)
        marks = campaign_marks(own)
        said = "; ".join(f"{mark} {name}, route {route}".strip() for (name, route), mark in marks.items())
        named_apart = course if course.startswith("course ") else "no other campaign"
        yield cell(f"{named_apart}: {said}"), [_row(e, marks[e.campaign, e.route]) for e in own]


def _row(entry: Entry, mark: str) -> Row:
    cells = [
        f"{cell(entry.device)} {mark}".strip(),
        str(entry.rides),
        cell(entry.start_states) or wording.UNKNOWN,
        _figure(entry.ttff_s, wording.seconds),
        wording.share(entry.fixed_in_30s),
        _figure(entry.repeatability_m, wording.metres),
        _figure(entry.xte_rms_m, wording.metres),
        wording.share(entry.first_ttff_share),
        wording.share(entry.first_error_share),
    ]
    return Row(entry.device, mark, cells)


def _figure(found: Interval, say: Callable[[float], str]) -> str:
    bounds = wording.between(found, say)
    return say(found.value) + (f" ({bounds})" if bounds else "")


def write_compared(compared: Compared, out: Path) -> list[Path]:
    """Write ``compare.html``, ``compare.csv`` and the figure into the folder `out`, in place of earlier ones.

    Raises
    ------
    OutputError
        When the folder is not one of gpsq's, or cannot be written.
    """
    texts = _texts(compared)
    names = sorted([*texts, run_file.NAME])
    data = {"gpsq": version(), "compared": sorted({cell(e.campaign) for e in compared.entries}), "files": names}
    texts[run_file.NAME] = json.dumps(data, indent=1, ensure_ascii=False) + "\n"
    with replaced(out) as aside:
        for name, content in texts.items():
            (aside / name).write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return [out / name for name in names]


def _texts(compared: Compared) -> dict[str, str | bytes]:
    chart = compare_chart(compared)
    found: dict[str, str | bytes] = {"compare.csv": _csv(compared), "compare.html": _page(compared, chart)}
    if chart is not None:
        found |= {"compare.svg": chart.wide_svg, "compare.png": chart.wide_png}
        found |= {"compare-square.svg": chart.square_svg, "compare-square.png": chart.square_png}
    return found


def _csv(compared: Compared) -> str:
    import pandas as pd

    rows = [{k: cell(v) if isinstance(v, str) else v for k, v in row.items()} for row in compared.rows()]
    return str(pd.DataFrame(rows).round(DECIMALS).to_csv(index=False, lineterminator="\n"))


def _page(compared: Compared, chart: Any) -> str:
    return render(
        "compare.html.j2",
        policy=policy_of(template_text("copy.js")),
        script=template_text("copy.js"),
        css=template_text("look.css") + template_text("report.css"),
        version=version(),
        heads=HEADS,
        chart=chart,
        looks=compare_looks(compared),
        marks=sketches.MARKS,
        courses=list(_by_course(compared)),
        notes=compared.notes,
        problems=compared.problems,
        devices=len({entry.device for entry in compared.entries}),
        campaigns=len({entry.campaign for entry in compared.entries}),
    )
