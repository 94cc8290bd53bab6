"""The part of the API that joins features."""
