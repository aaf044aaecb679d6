"""Tests that aim: for every obligation and border one value just inside and one just outside."""
