"""When each edge of a log reaches its limit, how sure that is, and what the model says of it."""
