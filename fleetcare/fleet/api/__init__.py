"""The API of fleets and vehicles: parse, authorise, call one use-case, answer."""
