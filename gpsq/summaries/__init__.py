"""Figures over many recordings: of devices, of pairs of devices, of places, and of several campaigns."""
