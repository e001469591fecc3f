"""The command line: one subcommand a use case."""
