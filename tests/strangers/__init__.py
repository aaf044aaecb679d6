"""Starts drawn by a stranger, and a grader of verdicts: nothing in here knows the product's judge or its simulator.

`start(seed, family=None)` gives the same start for ever. `python -m tests.strangers.run` judges many and prints a table.
"""
