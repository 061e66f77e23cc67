"""Drawings, charts and panels: they import physics, never the reverse."""
