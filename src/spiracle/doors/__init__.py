"""The shell: the only place with a clock, a file, a socket or a database."""
