"""One reading against its expectation; a sheet of them, or a sweep, against its chart."""
