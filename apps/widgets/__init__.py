"""Our own browser components."""
