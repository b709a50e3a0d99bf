"""The command line: one module a command, shared options in one place, words in another."""
