"""The record store: jobs, their starts with recordings, hand measurements, notes and photos."""
