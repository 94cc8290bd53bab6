"""The catalogue, inspections, findings, fitted parts and the condition they amount to."""
