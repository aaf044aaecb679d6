"""Input network design: divider, filter, clamp; what it measures, how well, and what it survives."""
