"""A sweep's runs in chunks: planned, handed over a window at a time, put together in order."""
