"""Views: one picture each."""
