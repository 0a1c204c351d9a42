"""Reading a log as it is: rows, refusals with their reason, flagged histories."""
