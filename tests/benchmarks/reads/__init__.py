"""Reading a vehicle and a page of fifty: the way through the application against the bare driver."""
