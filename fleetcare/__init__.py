"""fleetcare: the memory and the judge for whoever keeps ageing vehicles going."""
