"""The verdict in letters that can be read from the other side of the engine bay."""

from __future__ import annotations

# Five rows a letter, written as they look.
LETTERS: dict[str, tuple[str, ...]] = {
    "A": (" ### ", "#   #", "#####", "#   #", "#   #"),
    "C": (" ####", "#    ", "#    ", "#    ", " ####"),
    "D": ("#### ", "#   #", "#   #", "#   #", "#### "),
    "E": ("#####", "#    ", "#### ", "#    ", "#####"),
    "F": ("#####", "#    ", "#### ", "#    ", "#    "),
    "I": ("###", " # ", " # ", " # ", "###"),
    "L": ("#    ", "#    ", "#    ", "#    ", "#####"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": (" ### ", "#   #", "#   #", "#   #", " ### "),
    "P": ("#### ", "#   #", "#### ", "#    ", "#    "),
    "R": ("#### ", "#   #", "#### ", "#  # ", "#   #"),
    "S": (" ####", "#    ", " ### ", "    #", "#### "),
    "T": ("#####", "  #  ", "  #  ", "  #  ", "  #  "),
    "V": ("#   #", "#   #", "#   #", " # # ", "  #  "),
    " ": ("  ", "  ", "  ", "  ", "  "),
}


def banner(word: str, ascii_only: bool = False) -> list[str]:
    """Five lines of equal length. Raises KeyError for a letter that no verdict has."""
    rows = ["  ".join(LETTERS[letter][row] for letter in word) for row in range(5)]
    return rows if ascii_only else [row.replace("#", "█") for row in rows]
