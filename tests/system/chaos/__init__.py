"""Faults on purpose: real workers, brokers and databases are hurt, and a checker counts what came of it."""
