"""The command line: one module a command, no geometry, no arithmetic."""
