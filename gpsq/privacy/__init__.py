"""What must not be seen in published results, and the analysis without it."""

from gpsq.privacy.publication import Publication, publication
from gpsq.privacy.zones import Zone

__all__ = ["Publication", "Zone", "publication"]
