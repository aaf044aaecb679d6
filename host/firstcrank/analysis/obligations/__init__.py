"""The obligations of a PASS: a fixed list, each discharged for the recording, for every crank or for every phase on its own."""
