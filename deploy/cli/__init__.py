"""The command line, one file a group of commands."""

# Exit status beside 0, answered.
NO = 1
BAD_INPUT = 2
SERVICE_MISSING = 3
INTERRUPTED = 130
