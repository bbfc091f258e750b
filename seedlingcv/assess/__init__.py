"""The recipe from a folder of photos to a pot-up list: `look` at each photo, measure each flat, advise."""
