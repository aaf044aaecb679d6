"""Grades starts from the full-rate truth by the printed obligations alone. Imports nothing of the product but its value types."""
