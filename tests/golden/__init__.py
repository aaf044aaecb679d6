"""Files of an earlier firstcrank with its verdicts: they must be read for ever. See README.md."""
