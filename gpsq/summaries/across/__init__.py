"""Campaigns held against one another, from their results folders."""
