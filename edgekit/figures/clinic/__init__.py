"""Pictures of forecasts and bench plans, and the setting sheet on paper."""
