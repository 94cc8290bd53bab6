"""How well the forecasts of wear, usage and fuel keep their promises, in worlds that differ from their models."""
