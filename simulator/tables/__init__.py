"""Sourced numbers as TOML: value, unit, range, source."""
