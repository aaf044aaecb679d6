"""Characterization of the judge: everything it finds in a fixed corpus of starts, so that no change of it passes unnoticed."""
