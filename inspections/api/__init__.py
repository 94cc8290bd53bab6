"""The API of the catalogue, inspections, findings, parts and condition."""
