"""Answers to what-if questions: the model run again with one setting changed."""
