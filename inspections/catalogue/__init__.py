"""What is known of vehicles before looking at one: systems, parts, checks, jobs and the words they are told in.

The knowledge is data (TOML files in `data/`), read by `loader`; everything here is pure.
"""
