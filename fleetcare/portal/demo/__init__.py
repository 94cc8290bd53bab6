"""The demo: three invented fleets, whose past is played through from a hidden truth and entered like anybody's."""
