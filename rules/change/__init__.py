"""Charts of change over short lists: slow drift against its run length, and steps against their noise."""
