"""The edge that a session leaves: scratches, teeth, roughness, and how they wear."""
