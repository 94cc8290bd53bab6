"""A vehicle's record read across the features: what happened when, and its figures over time."""
