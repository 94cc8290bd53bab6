"""Fleets in bulk for PostgreSQL: rows laid out by NumPy as binary COPY, so that millions take minutes."""
