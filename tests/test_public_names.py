"""What `import gpsq` offers, and that the worked page uses nothing else."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

import gpsq

NOTEBOOK = Path(__file__).parents[1] / "docs" / "notebook.md"


@pytest.mark.parametrize("name", gpsq.__all__)
def test_every_public_name_is_there_and_says_what_it_is(name):
    assert getattr(gpsq, name).__doc__.strip()
    assert name in dir(gpsq)


def test_names_are_listed_once_and_in_the_order_of_the_alphabet():
    assert gpsq.__all__ == sorted(set(gpsq.__all__))


def test_every_name_that_has_a_home_is_listed():
    assert set(gpsq.__all__) == {name for names in gpsq._HOMES.values() for name in names}


def test_the_version_is_that_of_the_package():
    assert gpsq.__version__ == version("gpsq")


def test_any_other_name_is_refused_as_python_does():
    with pytest.raises(AttributeError, match="module 'gpsq' has no attribute 'analyze'"):
        gpsq.analyze  # noqa: B018


def test_nothing_is_loaded_before_it_is_used():
    code = "import sys, gpsq; before = 'numpy' in sys.modules; gpsq.Settings; print(before, len(gpsq.__version__) > 0)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]


def test_the_worked_page_uses_public_names_alone():
    code = "\n".join(re.findall(r"^\s*(?:>>>|\.\.\.) (.*)$", NOTEBOOK.read_text("utf-8"), re.MULTILINE))
    assert set(re.findall(r"^\s*(?:import|from) (gpsq[\w.]*)", code, re.MULTILINE)) == {"gpsq"}
    assert not re.findall(r"^\s*from gpsq", code, re.MULTILINE)
    used = set(re.findall(r"\bgpsq\.(\w+)", code))
    assert "analyse" in used
    assert used <= {*gpsq.__all__, "__version__"}


def test_the_citation_file_is_of_the_citation_file_format_and_of_this_version():
    """Keys that version 1.2.0 of the Citation File Format demands (its schema guide), and those that are ours to keep true."""
    yaml = pytest.importorskip("yaml")
    docs = NOTEBOOK.parent
    told = yaml.safe_load((docs / "CITATION.cff").read_text(encoding="utf-8"))
    assert {"cff-version", "message", "title", "authors"} <= told.keys()
    assert (told["cff-version"], told["type"], told["license"]) == ("1.2.0", "software", "MIT")
    assert all(author["name"] for author in told["authors"])
    assert told["version"] == version("gpsq")
    assert f"## {told['version']}" in (docs / "CHANGELOG.md").read_text(encoding="utf-8")
