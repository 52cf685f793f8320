"""A moving picture of one ride."""
