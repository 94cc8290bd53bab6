"""A fleet's ranked backlog from the database to the answer, and the way its figures get there."""
