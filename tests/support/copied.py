"""What the process holds of which `copies` are made: it imports this once, and does what a computing process first does."""

import uvicorn  # noqa: F401 - it serves the page

from gpsq.pipeline.second_process import load_what_draws, load_what_writes
from gpsq.web import app, session  # noqa: F401 - they are the page
from gpsq.web.worker import wake

load_what_draws()
load_what_writes()
wake()
