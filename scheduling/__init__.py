"""Jobs, the backlog, plans, due items, reminders and the workers."""
