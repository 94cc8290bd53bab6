"""Mails about what is due: made from the rows that wait, put into words, sent."""
