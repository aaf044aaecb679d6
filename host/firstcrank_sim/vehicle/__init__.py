"""The circuit: battery, starter, switch, wiring, coils, and the true voltages of every point."""
