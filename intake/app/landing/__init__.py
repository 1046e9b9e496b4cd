"""The landing day and acclimation as planned, read and made again."""
