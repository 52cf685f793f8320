"""The report, its sentences, cards and small drawings."""
