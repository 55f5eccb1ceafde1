"""The service: stores surveys, serves them, draws them; and the command line."""
