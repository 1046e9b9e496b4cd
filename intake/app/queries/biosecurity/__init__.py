"""Exposure, release, cutting rest and samples."""
