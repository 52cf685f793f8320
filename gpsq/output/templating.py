"""The one place that renders pages: Jinja2 with autoescape, templates from the package. Values are never templates."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from gpsq.output.wording import cell

if TYPE_CHECKING:
    from jinja2 import Environment, Template
    from markupsafe import Markup


#: Signs that template engines and template literals start with, as character references.
SPELLED_OUT = {ord(sign): f"&#{ord(sign)};" for sign in "{$`"}


@cache
def template_text(name: str) -> str:
    """Return the text of a file beside the templates: a style sheet or a script."""
    return (files("gpsq.output") / "templates" / name).read_text("utf-8")


def _plain(value: Any) -> Any:
    """Return a value as it may stand in a page: text without the control characters that HTML forbids, escaped."""
    return escaped(value) if type(value) is str else value


def escaped(text: str) -> Markup:
    """Return text as HTML; braces, dollar signs and backticks too, as pages often pass through a site generator.

    Examples
    --------
    >>> print(escaped("<b>{{7*7}}"))
    &lt;b&gt;&#123;&#123;7*7}}
    """
    from markupsafe import Markup, escape

    return Markup(str(escape(cell(text))).translate(SPELLED_OUT))  # noqa: S704  # escaped just here


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FunctionLoader(template_text),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_plain,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["own"] = Markup  # only for text that gpsq wrote or escaped itself
    return environment


def loaded(name: str) -> Template:
    """Return the template of that name, which is kept."""
    return _environment().get_template(name)


def render(name: str, **values: Any) -> str:
    """Return the page that the template of that name makes of the values."""
    return loaded(name).render(**values)


def policy_of(*scripts: str) -> str:
    """Return a content security policy (W3C): nothing is fetched, and only these scripts run."""
    digests = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in scripts)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    own = f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:"
    return f"{own}; base-uri 'none'; form-action 'none'"
