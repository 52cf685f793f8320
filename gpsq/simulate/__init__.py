"""Campaigns with a known answer: invented towns, rides and receivers, for the demo and for measuring gpsq itself.

`make_campaign` makes one in memory, `write` turns it into files, `standard_spec` and
`drawn_spec` draw what is in one.
"""

from gpsq.simulate.answers import truth_of
from gpsq.simulate.campaign import Campaign, SimulatedRecording, SimulatedRide, make_campaign
from gpsq.simulate.spec import SHOWS_START, CampaignSpec, DeviceSpec
from gpsq.simulate.variety import drawn_spec, standard_spec
from gpsq.simulate.writing import write

__all__ = [
    "SHOWS_START",
    "Campaign",
    "CampaignSpec",
    "DeviceSpec",
    "SimulatedRecording",
    "SimulatedRide",
    "drawn_spec",
    "make_campaign",
    "standard_spec",
    "truth_of",
    "write",
]
