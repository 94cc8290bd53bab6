"""Storing an inspection with sixty results: the way through the application against raw inserts."""
