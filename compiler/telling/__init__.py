"""Answers for people, as data."""
