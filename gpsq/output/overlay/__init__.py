"""Overlay pictures: every ride of a way over the centreline, a flag where each was first fixed."""
