"""Tools that work on the map canvas."""
