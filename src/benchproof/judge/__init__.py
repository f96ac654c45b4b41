"""One reading against its expectation, and a sheet of them against its chart."""
