"""gpsq judges the quality of repeated GPS tracks.

Each stage is a module of free functions; the names below are the modules and types a script needs.
Nothing heavy is imported here: ``import gpsq`` stays light.
"""

__version__ = "0.1.0"
