"""The command line: reads wishes, calls the same functions as the package, tells what came of it."""
