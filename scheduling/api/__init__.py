"""The API of the backlog."""
