"""Measured, not timed tests: `make bench`."""
