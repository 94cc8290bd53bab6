"""Framework plumbing without a word of the domain."""
