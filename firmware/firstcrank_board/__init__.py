"""firstcrank on the board: samples, folds, sends. Knows ADC codes and microseconds, never volts."""
