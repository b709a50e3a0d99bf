"""The numbers of one shot from its path, each with a standard uncertainty."""
