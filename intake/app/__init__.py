"""The application layer: one function for each command, one transaction each; here the rooms meet the disk and the clock."""
