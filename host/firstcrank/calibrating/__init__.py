"""Calibrating a board against one meter."""
