"""Edit a finished mesh by its rows, loops and poles; make lighter versions of it."""
