"""Pages: views put together."""
