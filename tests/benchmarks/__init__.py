"""Speed, printed as ratios to a general-purpose peer of the same run. Run with: python -m tests.benchmarks"""
