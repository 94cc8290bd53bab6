"""Measured: planning problems of growing size."""
