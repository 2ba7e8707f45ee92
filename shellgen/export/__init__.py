"""Files: STL, 3MF, the manifest, and the folder that holds them, swapped in whole."""
