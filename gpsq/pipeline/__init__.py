"""The stages in order: over how many processes, what need not be done again, and what is written."""
