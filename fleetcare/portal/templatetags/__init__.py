"""Small things that templates need and the framework has no word for."""
