"""Answers of a class, held together."""
