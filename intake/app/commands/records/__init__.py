"""What is written down after the work: tasks done, logger files, acts undone."""
