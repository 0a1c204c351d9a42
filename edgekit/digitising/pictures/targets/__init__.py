"""The scale of a picture from a target of known size, and the camera that saw it."""
