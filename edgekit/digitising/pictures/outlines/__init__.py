"""The outline of a backlit blade: found, divided into its parts, searched for chips."""
