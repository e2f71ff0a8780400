"""The report: one page with pictures that an artist and a lead both read, and the same as JSON."""
