"""A region's guides, its bulletin, and its past seasons played and looked back on."""
