"""Pictures of forecasts and bench plans."""
