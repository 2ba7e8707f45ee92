"""The B-rep kernel: the same recipe built directly from true faces, edges and trimming curves, for STEP."""
