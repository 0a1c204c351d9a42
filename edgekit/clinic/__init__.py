"""What a clinic does: trays, logs, forecasts, costs, the hour at the bench."""
