"""From phone photos of seedling flats to a pot-up list."""

__version__ = "0.1.0"
