"""What the backlog's order is worth: five years of invented vehicles, whose hidden truth the judge does not know."""
