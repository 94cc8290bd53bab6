"""The words every part of fleetcare speaks; pure, no framework."""
