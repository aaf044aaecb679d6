"""`python -m firstcrank`: the program where its script is not on the path."""

from __future__ import annotations

from firstcrank.cli.main import main

if __name__ == "__main__":
    main()
