"""Mutation testing of the judge: does a test notice when one expression of it is wrong? See `python -m tests.mutation --help`."""
