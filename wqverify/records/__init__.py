"""Records: make, run the notebook, run again. Knows no chemistry."""
