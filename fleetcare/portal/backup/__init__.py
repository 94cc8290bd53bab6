"""Backups: one command writes one while everything runs, one command restores it and proves that it is the same."""
