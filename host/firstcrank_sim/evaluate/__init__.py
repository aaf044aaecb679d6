"""The judge held against the circuit: the expected verdict, trials, counts, Monte Carlo."""
