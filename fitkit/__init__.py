"""Fit wearable headpieces to the person who will wear them."""
