"""Panels for notebooks: controllers without widgets, and the views that show them."""
