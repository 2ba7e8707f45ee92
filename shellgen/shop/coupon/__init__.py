"""Test pieces from the job's own section and hardware: what to print, what to measure, what the tool predicts."""
