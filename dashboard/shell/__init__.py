"""The application round the pages: serving, security, sessions, caching."""
