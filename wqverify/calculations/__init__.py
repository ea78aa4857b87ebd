"""Numbers or arrays in, numbers out: no file, clock, environment, print or log."""
