"""The commands, one module each; main finds the one that is wanted and loads only that."""
