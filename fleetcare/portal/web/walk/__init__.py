"""The walk round a vehicle, made for a phone under a car: every flow works without script and, with it, offline."""
