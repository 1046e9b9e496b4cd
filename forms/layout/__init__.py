"""Page, grid, blocks, lettering, photos and QR codes."""
