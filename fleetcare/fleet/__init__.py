"""Users, fleets, members, keys, contacts, vehicles and how far they have gone."""
