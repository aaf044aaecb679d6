"""Putting the firmware on a board, and everything else done to a board besides recording."""
