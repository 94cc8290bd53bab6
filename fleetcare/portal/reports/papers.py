"""Sizes of paper a report is set on, by the word that asks for one; the layout's own names for them."""

PAPERS = {"a4": "a4", "letter": "us-letter"}
USUAL = "a4"
