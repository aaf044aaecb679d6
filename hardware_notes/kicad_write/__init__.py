"""The minimal build as a KiCad 9 project: schematic, board and rules as text, written here from the builds' parts."""
